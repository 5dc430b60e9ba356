package intake

// Option is one answer that a question offers. Its words are opt_<question>_<key>; by SMS
// the options are numbered from 1, in chat they are buttons.
type Option struct {
	Key string
	set func(*Answers)
}

// Set returns a with the option's answer in it. "Not sure" may leave a as it was.
func (o Option) Set(a Answers) Answers {
	if o.set != nil {
		o.set(&a)
	}
	return a
}

func metres(m float64) func(*Answers)  { return func(a *Answers) { a.HeightM = &m } }
func hours(h float64) func(*Answers)   { return func(a *Answers) { a.AgeH = &h } }
func stung(s string) func(*Answers)    { return func(a *Answers) { a.Stung = s } }
func shape(s string) func(*Answers)    { return func(a *Answers) { a.Shape = s } }
func surface(s string) func(*Answers)  { return func(a *Answers) { a.Surface = s } }
func crowd(s string) func(*Answers)    { return func(a *Answers) { a.Crowd = s } }
func allergic(s string) func(*Answers) { return func(a *Answers) { a.Allergic = s } }
func owner(s string) func(*Answers)    { return func(a *Answers) { a.Owner = s } }
func body(s string) func(*Answers)     { return func(a *Answers) { a.Body = s } }
func entry(s string) func(*Answers)    { return func(a *Answers) { a.Entry = s } }

// options lists each question's options in the order in which they are numbered. The
// heights and ages that stand for words are judgement: a person's reach, a little above a
// head, the eave of one storey, above that.
var options = map[Question][]Option{
	AskStung: {{"none", stung("none")}, {"fine", stung("someone")}, {"ill", stung("trouble_breathing")}, {"unsure", nil}},
	AskShape: {{"cluster", shape("hanging_cluster")}, {"gap", shape("gap_traffic")}, {"paper", shape("paper_ball")},
		{"umbrella", shape("open_umbrella")}, {"soil", shape("soil_holes")}, {"wood", shape("wood_holes")},
		{"cloud", shape("flying_cloud")}, {"flowers", func(a *Answers) { a.Shape, a.Surface = "no_nest", "flowers" }}, {"unsure", shape("unsure")}},
	AskHeight: {{"reach", metres(1.7)}, {"head", metres(2.7)}, {"roof", metres(4.5)}, {"higher", metres(8)}, {"unsure", nil}},
	AskSurface: {{"branch", surface("branch")}, {"shrub", surface("shrub")}, {"fence", surface("fence")}, {"wall", surface("wall")},
		{"vehicle", surface("vehicle")}, {"ground", surface("ground")}, {"eave", surface("eave")}, {"other", surface("other")}},
	AskAge:      {{"now", hours(1)}, {"hours", hours(6)}, {"yesterday", hours(26)}, {"days", hours(96)}, {"weeks", hours(500)}, {"unsure", nil}},
	AskCrowd:    {{"few", crowd("under_10")}, {"tens", crowd("tens")}, {"hundreds", crowd("hundreds")}, {"thousands", crowd("thousands")}, {"unsure", crowd("unsure")}},
	AskAllergic: {{"no", allergic("no")}, {"yes", allergic("yes")}, {"unsure", allergic("unknown")}},
	AskOwner:    {{"yes", owner("yes")}, {"no", owner("no")}, {"unsure", owner("unknown")}},
	AskBody: {{"fuzzy", body("fuzzy_brown")}, {"furry", body("big_furry")}, {"shiny", body("shiny_yellow")},
		{"white", body("black_white")}, {"slender", body("slender")}, {"unsure", body("unsure")}},
	AskEntry:  {{"one", entry("one_hole")}, {"many", entry("many_holes")}, {"none", entry("no_hole")}, {"unsure", entry("unsure")}},
	AskAccess: {{"nothing", func(a *Answers) { a.Access = NothingSpecial }}},
	AskPhoto:  {{"no", nil}},
}

// NothingSpecial is the Access of a place that one simply walks up to. It is a value, not
// words: nobody is told it.
const NothingSpecial = "nothing special"

// Options returns the options of q in order; none for a question answered in free words.
func Options(q Question) []Option { return options[q] }
