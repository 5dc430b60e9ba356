package intake

import (
	"bufio"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// TestTexts scores files of texts named by SKEPLINE_TEXTS; SKEPLINE_SHOW=1 lists failures.
func TestTexts(t *testing.T) {
	for _, path := range strings.Fields(os.Getenv("SKEPLINE_TEXTS")) {
		base := filepath.Base(path)
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		show := os.Getenv("SKEPLINE_SHOW") != ""
		var right, all [3]int
		alarms, lines := 0, 0
		scan := bufio.NewScanner(f)
		for n := 1; scan.Scan(); n++ {
			line := strings.TrimSpace(scan.Text())
			if line == "" || strings.HasPrefix(line, "#") {
				continue
			}
			if strings.HasPrefix(base, "em") || strings.HasPrefix(base, "n") {
				if i := strings.LastIndex(line, " | "); i > 0 {
					line = line[i+3:]
				}
				lines++
				got := Emergency(line)
				if got {
					alarms++
				}
				if show && got != strings.HasPrefix(base, "em") {
					t.Logf("%s:%d: %s %s", base, n, line, why(line))
				}
				continue
			}
			parts := strings.Split(line, " | ")
			if len(parts) != 3 {
				t.Errorf("%s:%d: %d parts", base, n, len(parts))
				continue
			}
			u := utterance{line: n, lang: parts[0], text: parts[1], want: map[string]string{}}
			for _, slot := range strings.Fields(parts[2]) {
				if name, value, ok := strings.Cut(slot, "="); ok && value != "" {
					if name == "hazards" {
						if value = mapHazards(value); value == "" {
							continue
						}
					}
					if v, err := strconv.ParseFloat(value, 64); err == nil && name == "age_h" && v > 24*366 {
						value = "8784" // we count to a year
					}
					u.want[name] = value
				}
			}
			r, a, wrong := u.score()
			k := 0
			if u.want["asked"] != "" {
				k = 1
			}
			right[k], all[k] = right[k]+r, all[k]+a
			if show && len(wrong) > 0 {
				t.Logf("%s:%d: [%s] %s\n\t%s", base, n, u.want["asked"], u.text, strings.Join(wrong, "; "))
			}
			if u.want["stung"] == "trouble_breathing" {
				lines++
				if Emergency(u.text) {
					alarms++
				} else if show {
					t.Logf("%s:%d: MISSED %s", base, n, u.text)
				}
			}
		}
		f.Close()
		if all[0] > 0 {
			t.Logf("%s: all %d/%d %.1f%%  reports %d/%d %.1f%%  answers %d/%d %.1f%%; emergencies in it %d of %d", base, right[0]+right[1], all[0]+all[1], 100*float64(right[0]+right[1])/float64(all[0]+all[1]),
				right[0], all[0], 100*float64(right[0])/float64(all[0]), right[1], all[1], 100*float64(right[1])/float64(all[1]), alarms, lines)
		} else {
			t.Logf("%s: %d of %d raise the alarm (%.1f%%)", base, alarms, lines, 100*float64(alarms)/float64(lines))
		}
	}
}

func mapHazards(v string) string {
	var out []string
	for _, h := range strings.Split(v, "+") {
		switch h {
		case "school", "schools", "playground", "playgrounds":
			h = "children"
		case "power_line", "road", "roof", "water", "indoors", "blocked_door", "children", "crowd":
		default:
			continue
		}
		if !strings.Contains(strings.Join(out, "+"), h) {
			out = append(out, h)
		}
	}
	return strings.Join(out, "+")
}

func why(text string) string {
	ts := seenKnown(text)
	m, ok := emergencySign(ts)
	if !ok {
		return ""
	}
	topic := "code"
	if m.rule != nil {
		topic = m.rule.topic + "." + m.rule.lang
	}
	return "[" + topic + ": " + text[ts[m.from].start:ts[m.to-1].end] + "]"
}
