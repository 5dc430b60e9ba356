package standin

import (
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// TwilioSpec is the published description of Twilio's message resource
// (testdata/published/twilio_messages.json, which names its source).
type TwilioSpec struct {
	Path           string                `json:"path"` // "/2010-04-01/Accounts/{AccountSid}/Messages.json"
	PathParameters map[string]twilioKind `json:"path_parameters"`
	Create         twilioCall            `json:"create"`
	List           twilioCall            `json:"list"`
	Message        map[string]twilioKind `json:"message"`
	Example        map[string]any        `json:"example_created"`
	Limits         map[string]string     `json:"limits_from_the_documentation_pages"`
}

type twilioCall struct {
	Method      string                `json:"method"`
	ContentType string                `json:"content_type"`
	Success     int                   `json:"success"`
	Parameters  map[string]twilioKind `json:"parameters"`
}

// twilioKind is what a parameter's value may be.
type twilioKind struct {
	Type      string      `json:"type"`
	Format    string      `json:"format"`
	Pattern   string      `json:"pattern"`
	Enum      []string    `json:"enum"`
	MinLength int         `json:"minLength"`
	MaxLength int         `json:"maxLength"`
	Minimum   *int        `json:"minimum"`
	Maximum   *int        `json:"maximum"`
	Required  bool        `json:"required"`
	Items     *twilioKind `json:"items"`
}

// ReadTwilioSpec reads the description from its file.
func ReadTwilioSpec(file string) (TwilioSpec, error) {
	var spec TwilioSpec
	b, err := os.ReadFile(file)
	if err != nil {
		return spec, err
	}
	if err := json.Unmarshal(b, &spec); err != nil {
		return spec, fmt.Errorf("read %s: %w", file, err)
	}
	if len(spec.Create.Parameters) == 0 || len(spec.Example) == 0 {
		return spec, fmt.Errorf("%s describes no message resource", file)
	}
	return spec, nil
}

// check returns what is wrong with a call's parameters, one sentence each.
func (c twilioCall) check(given url.Values) []string {
	var wrong []string
	for name, kind := range c.Parameters {
		if kind.Required && given.Get(name) == "" {
			wrong = append(wrong, name+" is required")
		}
	}
	for name, values := range given {
		kind, known := c.Parameters[name]
		if !known {
			wrong = append(wrong, name+" is no parameter")
			continue
		}
		if len(values) > 1 && kind.Type != "array" {
			wrong = append(wrong, name+" is given twice")
		}
		for _, v := range values {
			if err := kind.check(v); err != nil {
				wrong = append(wrong, fmt.Sprintf("%s: %v", name, err))
			}
		}
	}
	slices.Sort(wrong)
	return wrong
}

// A receiver or sender: a number, the same on WhatsApp, or a name or short code to send from.
var twilioAddress = regexp.MustCompile(`^(whatsapp:)?\+[1-9][0-9]{6,14}$|^[A-Za-z0-9 ]{3,11}$`)

// check returns what is wrong with one value as it stands in a form.
func (k twilioKind) check(v string) error {
	if k.Type == "array" && k.Items != nil {
		return k.Items.check(v)
	}
	if err := k.checkType(v); err != nil {
		return err
	}
	switch {
	case len(k.Enum) > 0 && !slices.Contains(k.Enum, v):
		return fmt.Errorf("is none of %v", k.Enum)
	case k.Pattern != "" && !regexp.MustCompile(k.Pattern).MatchString(v):
		return fmt.Errorf("does not match %s", k.Pattern)
	case utf8.RuneCountInString(v) < k.MinLength, k.MaxLength > 0 && utf8.RuneCountInString(v) > k.MaxLength:
		return fmt.Errorf("has %d characters, not %d to %d", utf8.RuneCountInString(v), k.MinLength, k.MaxLength)
	}
	return k.checkFormat(v)
}

func (k twilioKind) checkType(v string) error {
	switch k.Type {
	case "integer":
		n, err := strconv.Atoi(v)
		if err != nil {
			return fmt.Errorf("%q is no integer", v)
		}
		if k.Minimum != nil && n < *k.Minimum || k.Maximum != nil && n > *k.Maximum {
			return fmt.Errorf("%d is out of range", n)
		}
	case "number":
		if _, err := strconv.ParseFloat(v, 64); err != nil {
			return fmt.Errorf("%q is no number", v)
		}
	case "boolean":
		if v != "true" && v != "false" {
			return fmt.Errorf("%q is neither true nor false", v)
		}
	}
	return nil
}

func (k twilioKind) checkFormat(v string) error {
	switch k.Format {
	case "phone-number":
		if !twilioAddress.MatchString(v) {
			return fmt.Errorf("is no address")
		}
	case "uri":
		if u, err := url.Parse(v); err != nil || u.Scheme == "" || u.Host == "" {
			return fmt.Errorf("is no address of a page")
		}
	case "date-time":
		if _, err := time.Parse(time.RFC3339, v); err != nil {
			return fmt.Errorf("is no date and time")
		}
	}
	return nil
}

// checkLimits returns what the documentation pages forbid beyond the description.
func (s TwilioSpec) checkLimits(given url.Values) []string {
	var wrong []string
	if n, most := utf8.RuneCountInString(given.Get("Body")), rangeOf(s.Limits["Body"])[1]; n > most {
		wrong = append(wrong, fmt.Sprintf("Body has %d characters, at most %d are taken", n, most))
	}
	if n, most := len(given["MediaUrl"]), rangeOf(s.Limits["MediaUrl"])[1]; n > most {
		wrong = append(wrong, fmt.Sprintf("%d MediaUrl, at most %d are taken", n, most))
	}
	if v := given.Get("ValidityPeriod"); v != "" {
		n, _ := strconv.Atoi(v)
		if r := rangeOf(s.Limits["ValidityPeriod"]); n < r[0] || n > r[1] {
			wrong = append(wrong, fmt.Sprintf("ValidityPeriod %d is not within %v", n, r))
		}
	}
	if u, err := url.Parse(given.Get("StatusCallback")); err == nil && strings.Contains(u.Host, "_") {
		wrong = append(wrong, "StatusCallback has an underscore in its host")
	}
	if given.Get("From") == "" && given.Get("MessagingServiceSid") == "" {
		wrong = append(wrong, "neither From nor MessagingServiceSid")
	}
	if given.Get("Body") == "" && given.Get("MediaUrl") == "" && given.Get("ContentSid") == "" {
		wrong = append(wrong, "neither Body nor MediaUrl nor ContentSid")
	}
	return wrong
}

var numbers = regexp.MustCompile(`[0-9]+`)

// rangeOf reads a limit as the documentation words it: "<= 1600 characters", "1..36000 s",
// "1-64 bytes". A limit it cannot read is a mistake of this package.
func rangeOf(words string) [2]int {
	found := numbers.FindAllString(words, 2)
	if strings.HasPrefix(words, "<=") && len(found) > 0 {
		found = []string{"0", found[0]}
	}
	if len(found) < 2 {
		panic(fmt.Sprintf("standin: no limit in %q", words))
	}
	low, _ := strconv.Atoi(found[0])
	high, _ := strconv.Atoi(found[1])
	return [2]int{low, high}
}
