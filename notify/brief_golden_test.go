package notify

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"skepline/intake"
)

var updateBriefs = flag.Bool("update-briefs", false, "write the briefs of testdata/briefs anew")

// writtenJobs are the jobs whose whole briefs are kept in testdata/briefs, to be read aloud
// when a word of them changes.
func writtenJobs(t testing.TB) map[string]struct {
	job     Job
	catcher Catcher
} {
	type work = struct {
		job     Job
		catcher Catcher
	}
	job := func(change func(*Job)) Job {
		j := appleTree(t)
		change(&j)
		return j
	}
	ada := Catcher{Name: "Ada", MaxHeightM: 4.5, Skills: []Skill{Ladder}, Kit: []string{"box", "sheet", "brush", "veil", "tape", "mist", "ladder"}, LadderM: 12 * metresPerFt}
	bram := Catcher{Name: "Bram", MaxHeightM: 2.5}
	chidi := Catcher{Name: "Chidi", MaxHeightM: 6, Skills: []Skill{Cutout, Suit}, Kit: []string{"nuc", "sheet", "brush", "suit", "tape", "pole", "lure"}}
	return map[string]work{
		"1_branch_with_ladder": {job(func(j *Job) { j.Answers.HeightM, j.Answers.Owner = metresUp(3.4), "yes" }), ada},
		"2_fence_by_the_road": {job(func(j *Job) {
			j.Answers.Surface, j.Answers.HeightM, j.Answers.Hazards, j.Answers.Owner = "fence", metresUp(1.2), []string{"road", "children"}, "no"
		}), bram},
		"3_on_the_ground": {job(func(j *Job) {
			j.Answers.Surface, j.Answers.HeightM, j.Answers.Crowd, j.CallerName = "ground", metresUp(0), "hundreds", ""
		}), chidi},
		"4_vehicle_late": {job(func(j *Job) {
			j.Answers.Surface, j.Answers.HeightM, j.Late, j.Answers.Hazards = "vehicle", metresUp(1), true, []string{"crowd"}
		}), bram},
		"5_too_high":         {job(func(j *Job) { j.Answers.HeightM = metresUp(9) }), ada},
		"6_in_the_air":       {job(func(j *Job) { j.Answers.Shape, j.Answers.Surface, j.Answers.HeightM = "flying_cloud", "", nil }), bram},
		"7_nest_in_the_wall": {job(func(j *Job) { j.Answers.Shape, j.Answers.Surface, j.Shown = "gap_traffic", "cavity", 0 }), chidi},
		"8_shrub_power_line": {job(func(j *Job) {
			j.Answers.Surface, j.Answers.HeightM, j.Answers.Hazards, j.Answers.Allergic = "shrub", metresUp(1.5), []string{"power_line"}, "yes"
		}), ada},
		"9_ladder_too_short": {job(func(j *Job) { j.Answers.HeightM, j.Against = metresUp(4.5), "bumble bees" }), ada},
	}
}

// TestWrittenBriefs compares whole briefs with what was read aloud and found good.
func TestWrittenBriefs(t *testing.T) {
	jobs := writtenJobs(t)
	var names []string
	for name := range jobs {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		var text strings.Builder
		for _, w := range []intake.Words{{Language: "en", Chat: true}, {Language: "en"}, {Language: "es", Chat: true}, {Language: "es"}} {
			way := "SMS"
			if w.Chat {
				way = "chat"
			}
			job := jobs[name].job
			if job.Against != "" {
				job.Against = w.Say(job.Against, nil)
			}
			b := MakeBrief(w, job, jobs[name].catcher, w.Language == "es", w.Language == "es")
			fmt.Fprintf(&text, "== %s by %s, to %s\n", w.Language, way, jobs[name].catcher.Name)
			for _, part := range []string{b.Yours, b.Gates, b.Kit, b.Method, b.Evening} {
				if part == "" {
					continue
				}
				fmt.Fprintf(&text, "%s\n", part)
				if !w.Chat {
					fmt.Fprintf(&text, "  (%d)\n", Segments(part))
				}
			}
		}
		path := filepath.Join("testdata", "briefs", name+".txt")
		if *updateBriefs {
			if err := os.WriteFile(path, []byte(text.String()), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if string(want) != text.String() {
			t.Errorf("the brief %s reads differently now; read it aloud, then run with -update-briefs:\n%s", name, text.String())
		}
	}
}
