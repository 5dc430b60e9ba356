package intake

// Question is one thing we may ask a caller. Its string is stable: it is stored, and it is
// the stem of the question's texts in the wording files (ask_<question>).
type Question string

// The questions. The first four are asked of everybody (unless already told) before a
// call is put to catchers; the rest while catchers are being asked.
const (
	AskStung    Question = "stung"    // anyone stung or ill?
	AskShape    Question = "shape"    // what does it look like?
	AskPlace    Question = "place"    // where is it?
	AskHeight   Question = "height"   // how high?
	AskSurface  Question = "surface"  // on what?
	AskAge      Question = "age"      // how long has it been there?
	AskCrowd    Question = "crowd"    // how many?
	AskAllergic Question = "allergic" // anyone allergic?
	AskOwner    Question = "owner"    // your property?
	AskName     Question = "name"     // first name
	AskAccess   Question = "access"   // gate, dogs
	AskBody     Question = "body"     // what do the insects look like?
	AskEntry    Question = "entry"    // one hole or many?
	AskPhoto    Question = "photo"    // a picture from where you stand?
)

// MustAsk are the questions that come before the offer, in their order.
var MustAsk = []Question{AskStung, AskShape, AskPlace, AskHeight}

// AskMeanwhile are the questions asked while catchers are being asked, in their order.
var AskMeanwhile = []Question{AskSurface, AskAge, AskCrowd, AskAllergic, AskOwner, AskName, AskAccess}

// Told reports whether a already holds an answer to q.
func (a Answers) Told(q Question) bool {
	switch q {
	case AskStung:
		return a.Stung != ""
	case AskShape:
		return a.Shape != ""
	case AskPlace:
		return a.Place != nil
	case AskHeight:
		return a.HeightM != nil
	case AskSurface:
		return a.Surface != ""
	case AskAge:
		return a.AgeH != nil
	case AskCrowd:
		return a.Crowd != ""
	case AskAllergic:
		return a.Allergic != ""
	case AskOwner:
		return a.Owner != ""
	case AskName:
		return a.Name != ""
	case AskAccess:
		return a.Access != ""
	case AskBody:
		return a.Body != ""
	case AskEntry:
		return a.Entry != ""
	}
	return false
}
