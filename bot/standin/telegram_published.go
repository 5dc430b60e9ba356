package standin

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// TelegramSpec is the published description of the Bot API's methods
// (testdata/published/telegram_methods.json, which names its source).
type TelegramSpec struct {
	Methods map[string]struct {
		Fields []telegramField `json:"fields"`
	} `json:"methods"`
	Types map[string]struct {
		Fields []telegramField `json:"fields"`
	} `json:"types"`
	Limits map[string]string `json:"limits_from_the_documentation"`
}

type telegramField struct {
	Name     string   `json:"name"`
	Types    []string `json:"types"` // any of these
	Required bool     `json:"required"`
}

// ReadTelegramSpec reads the description from its file.
func ReadTelegramSpec(file string) (TelegramSpec, error) {
	var spec TelegramSpec
	b, err := os.ReadFile(file)
	if err != nil {
		return spec, err
	}
	if err := json.Unmarshal(b, &spec); err != nil {
		return spec, fmt.Errorf("read %s: %w", file, err)
	}
	if len(spec.Methods) == 0 || len(spec.Types) == 0 {
		return spec, fmt.Errorf("%s describes no methods", file)
	}
	return spec, nil
}

// check returns what is wrong with a call's parameters, one sentence each.
func (s TelegramSpec) check(method string, given map[string]any) []string {
	wrong := s.checkFields(method, s.Methods[method].Fields, given)
	for _, name := range []string{"sendMessage.text", "answerCallbackQuery.text", "sendPhoto.caption"} {
		on, field, _ := strings.Cut(name, ".")
		if v, ok := given[field].(string); ok && on == method {
			wrong = append(wrong, s.checkLength(name, utf8.RuneCountInString(v))...)
		}
	}
	if v, ok := given["caption"].(string); ok && method == "editMessageCaption" {
		wrong = append(wrong, s.checkLength("sendPhoto.caption", utf8.RuneCountInString(v))...)
	}
	if v, ok := given["text"].(string); ok && method == "editMessageText" {
		wrong = append(wrong, s.checkLength("sendMessage.text", utf8.RuneCountInString(v))...)
	}
	if v, ok := given["secret_token"].(string); ok && !regexp.MustCompile(`^[A-Za-z0-9_-]{1,256}$`).MatchString(v) {
		wrong = append(wrong, "secret_token: "+s.Limits["setWebhook.secret_token"])
	}
	slices.Sort(wrong)
	return wrong
}

// checkLength compares a length with a limit of the documentation.
func (s TelegramSpec) checkLength(limit string, n int) []string {
	if r := rangeOf(s.Limits[limit]); n < r[0] || n > r[1] {
		return []string{fmt.Sprintf("%s has length %d, not %s", limit, n, s.Limits[limit])}
	}
	return nil
}

// checkFields compares an object with its description. Where names the object.
func (s TelegramSpec) checkFields(where string, fields []telegramField, given map[string]any) []string {
	var wrong []string
	known := map[string]telegramField{}
	for _, f := range fields {
		known[f.Name] = f
		if _, there := given[f.Name]; f.Required && !there {
			wrong = append(wrong, where+"."+f.Name+" is required")
		}
	}
	for name, v := range given {
		f, ok := known[name]
		if !ok {
			wrong = append(wrong, where+"."+name+" is no field")
			continue
		}
		wrong = append(wrong, s.checkAny(where+"."+name, f.Types, v)...)
	}
	if where == "InlineKeyboardButton" {
		wrong = append(wrong, s.checkButton(given)...)
	}
	return wrong
}

// checkAny returns nothing when v fits one of the types, else what speaks against the first.
func (s TelegramSpec) checkAny(where string, types []string, v any) []string {
	var first []string
	for i, kind := range types {
		wrong := s.checkType(where, kind, v)
		if len(wrong) == 0 {
			return nil
		}
		if i == 0 {
			first = wrong
		}
	}
	return first
}

func (s TelegramSpec) checkType(where, kind string, v any) []string {
	no := []string{fmt.Sprintf("%s is no %s", where, kind)}
	if inner, ok := strings.CutPrefix(kind, "Array of "); ok {
		list, ok := v.([]any)
		if !ok {
			return no
		}
		var wrong []string
		for _, item := range list {
			wrong = append(wrong, s.checkType(where, inner, item)...)
		}
		return wrong
	}
	switch kind {
	case "String", "InputFile":
		if _, ok := v.(Upload); ok && kind == "InputFile" {
			return nil
		}
		if _, ok := v.(string); ok {
			return nil
		}
	case "Integer":
		if n, ok := v.(float64); ok && n == math.Trunc(n) {
			return nil
		}
	case "Float":
		if _, ok := v.(float64); ok {
			return nil
		}
	case "Boolean":
		if _, ok := v.(bool); ok {
			return nil
		}
	default:
		object, ok := v.(map[string]any)
		if !ok {
			return no
		}
		if described, ok := s.Types[kind]; ok {
			return s.checkFields(kind, described.Fields, object)
		}
		return nil
	}
	return no
}

// checkButton holds the two rules of an inline button that its description cannot say.
func (s TelegramSpec) checkButton(b map[string]any) []string {
	actions := 0
	for name := range b {
		if name != "text" && name != "icon_custom_emoji_id" && name != "style" {
			actions++
		}
	}
	var wrong []string
	if actions != 1 {
		wrong = append(wrong, fmt.Sprintf("InlineKeyboardButton has %d actions: %s", actions, s.Limits["InlineKeyboardButton"]))
	}
	if data, ok := b["callback_data"].(string); ok {
		wrong = append(wrong, s.checkLength("InlineKeyboardButton.callback_data", len(data))...)
	}
	return wrong
}

// fromForm turns a form's value into what JSON would have held, by the field's types: a
// form says everything in characters.
func (s TelegramSpec) fromForm(method, name, v string) any {
	for _, f := range s.Methods[method].Fields {
		if f.Name != name {
			continue
		}
		for _, kind := range f.Types {
			switch kind {
			case "String", "InputFile":
				return v
			case "Integer", "Float":
				if n, err := strconv.ParseFloat(v, 64); err == nil {
					return n
				}
			default:
				var parsed any
				if json.Unmarshal([]byte(v), &parsed) == nil {
					return parsed
				}
			}
		}
	}
	return v
}
