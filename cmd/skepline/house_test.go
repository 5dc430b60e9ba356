package main

import (
	"go/ast"
	"go/build"
	"go/parser"
	"go/token"
	"go/types"
	"io/fs"
	"maps"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const root = "../.."

// house says which of our packages each package may import. It is a statement of policy: a
// change here is a change of design, not a way to make a build pass.
var house = map[string][]string{
	"intake":       {},
	"triage":       {"intake"},
	"notify":       {"intake", "triage"},
	"bot":          {"intake", "triage", "notify"},
	"bot/store":    {"bot", "notify", "intake"},
	"bot/sms":      {"bot", "notify", "intake"},
	"bot/telegram": {"bot", "notify", "intake"},
	"bot/web":      {"bot", "notify", "intake"},
	"bot/maps":     {"bot", "intake"},
	"bot/plots":    {"bot"},
	"bot/standin":  {}, // the providers know nothing of us
	// A world of its own around the production flow; it has its own store, so it needs no door.
	"bot/simulation": {"bot", "notify", "triage", "intake"},
	"bot/rehearsal":  {"bot", "bot/store", "notify", "intake"},
	"cmd/skepline":   nil, // anything: it joins all
}

// oneDoor says where a library may be imported: what belongs to one provider or to Redis
// stays behind one door.
var oneDoor = map[string][]string{
	"github.com/redis/":        {"bot/store"},
	"github.com/alicebob/":     {"bot/store", "bot/rehearsal"}, // the rehearsal sets its clock
	"github.com/twilio/":       {"bot/sms"},
	"github.com/go-telegram/":  {"bot/telegram"},
	"github.com/prometheus/":   {"bot/web"},
	"github.com/alecthomas/":   {"cmd/skepline"},
	"github.com/nicksnyder/":   {"intake"},
	"github.com/emersion/":     {"intake"},
	"github.com/BurntSushi/":   {"intake", "triage", "bot"},
	"gonum.org/":               {"bot/plots"},
	"github.com/goccy/":        {"bot", "bot/store"}, // documents and messages; what people hand us is read by encoding/json
	"net/http":                 {"bot/sms", "bot/telegram", "bot/web", "bot/maps", "bot/standin", "cmd/skepline"},
	"github.com/google/go-cmp": {}, // tests only
	"pgregory.net/rapid":       {}, // tests only
}

// folders returns every folder with Go files, below the root.
func folders(t *testing.T) []string {
	t.Helper()
	var found []string
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (strings.HasPrefix(d.Name(), ".") && file != root || d.Name() == "testdata") {
			return filepath.SkipDir
		}
		if strings.HasSuffix(file, ".go") {
			dir, err := filepath.Rel(root, filepath.Dir(file))
			if err != nil {
				return err
			}
			found = append(found, filepath.ToSlash(dir))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(found)
	return slices.Compact(found)
}

func TestHouse(t *testing.T) {
	all := folders(t)
	for _, dir := range all {
		if _, listed := house[dir]; !listed {
			t.Errorf("%s is not in the house; give it a reason in one line and a line here", dir)
		}
	}
	for dir, may := range house {
		if !slices.Contains(all, dir) {
			t.Errorf("the house lists %s, which is not there", dir)
			continue
		}
		pkg, err := build.ImportDir(filepath.Join(root, dir), 0)
		if err != nil {
			t.Error(err)
			continue
		}
		for _, imported := range pkg.Imports {
			ours, ok := strings.CutPrefix(imported, "skepline/")
			if ok && may != nil && !slices.Contains(may, ours) {
				t.Errorf("%s imports %s; the house allows it %v", dir, ours, may)
			}
			for library, doors := range oneDoor {
				if strings.HasPrefix(imported, library) && !slices.Contains(doors, dir) {
					t.Errorf("%s imports %s; only %v may", dir, imported, doors)
				}
			}
		}
	}
}

// readsClock are the functions by which a room would read the clock or draw chance. An
// empty list forbids the whole package.
var readsClock = map[string][]string{
	"time":         {"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"},
	"context":      {"WithTimeout", "WithDeadline", "WithTimeoutCause", "WithDeadlineCause"},
	"math/rand":    {},
	"math/rand/v2": {"Int", "IntN", "Int32", "Int32N", "Int64", "Int64N", "Uint32", "Uint32N", "Uint64", "Uint64N", "UintN", "N", "Float32", "Float64", "ExpFloat64", "NormFloat64", "Perm", "Shuffle"},
	"crypto/rand":  {},
}

// mayRead are the exceptions, file by file.
var mayRead = map[string][]string{
	"bot/hotline.go": {"rand.Int64N"}, // the pause after a conflict; no decision sees it
}

// TestTimeIsData holds that the rooms get time and chance as data.
func TestTimeIsData(t *testing.T) {
	looked := 0
	for _, room := range []string{"intake", "triage", "notify", "bot"} {
		files, err := filepath.Glob(filepath.Join(root, room, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			if !strings.HasSuffix(file, "_test.go") {
				looked++
				checkTime(t, room+"/"+filepath.Base(file), file)
			}
		}
	}
	if looked < 20 {
		t.Errorf("only %d files were looked at", looked)
	}
}

func checkTime(t *testing.T, name, file string) {
	t.Helper()
	fset := token.NewFileSet()
	tree, err := parser.ParseFile(fset, file, nil, parser.SkipObjectResolution)
	if err != nil {
		t.Error(err)
		return
	}
	forbidden := map[string][]string{} // by the name it has in this file
	for _, spec := range tree.Imports {
		imported, _ := strconv.Unquote(spec.Path.Value) // the parser has accepted it
		funcs, watched := readsClock[imported]
		if !watched {
			continue
		}
		local := path.Base(strings.TrimSuffix(imported, "/v2"))
		if spec.Name != nil {
			local = spec.Name.Name
		}
		forbidden[local] = funcs
		if len(funcs) == 0 {
			t.Errorf("%s imports %s; chance comes in as data", name, imported)
		}
	}
	ast.Inspect(tree, func(n ast.Node) bool {
		call, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		of, ok := call.X.(*ast.Ident)
		if ok && slices.Contains(forbidden[of.Name], call.Sel.Name) && !slices.Contains(mayRead[name], of.Name+"."+call.Sel.Name) {
			t.Errorf("%s: %s.%s; time and chance come in as data", fset.Position(n.Pos()), of.Name, call.Sel.Name)
		}
		return true
	})
}

// nothing imports every package as an empty one: the sealed interface and its types are all
// in the package that is looked at.
type nothing struct{}

func (nothing) Import(imported string) (*types.Package, error) {
	pkg := types.NewPackage(imported, path.Base(imported))
	pkg.MarkComplete()
	return pkg, nil
}

// TestEveryEventHasACase holds that Decide has a case for each kind of event: the compiler
// does not look.
func TestEveryEventHasACase(t *testing.T) {
	pkg, err := build.ImportDir(filepath.Join(root, "bot"), 0)
	if err != nil {
		t.Fatal(err)
	}
	fset := token.NewFileSet()
	var files []*ast.File
	for _, name := range pkg.GoFiles {
		tree, err := parser.ParseFile(fset, filepath.Join(pkg.Dir, name), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, tree)
	}
	ignore := types.Config{Importer: nothing{}, Error: func(error) {}}
	checked, _ := ignore.Check("skepline/bot", fset, files, nil) // errors are about the empty imports
	cases := casesOfDecide(files)
	kinds := 0
	for _, name := range checked.Scope().Names() {
		if !sealed(checked.Scope().Lookup(name)) {
			continue
		}
		kinds++
		if !cases[name] {
			t.Errorf("Decide has no case for the event %s", name)
		}
	}
	if kinds < 8 {
		t.Errorf("only %d kinds of events were found; the test looks in the wrong place", kinds)
	}
	if len(cases) != kinds {
		t.Errorf("Decide has cases for %v, and there are %d kinds of events", slices.Sorted(maps.Keys(cases)), kinds)
	}
}

// sealed reports whether something is a type with an isEvent method of its own.
func sealed(o types.Object) bool {
	name, ok := o.(*types.TypeName)
	if !ok {
		return false
	}
	kind, ok := name.Type().(*types.Named)
	if !ok {
		return false
	}
	for m := range kind.Methods() {
		if m.Name() == "isEvent" {
			return true
		}
	}
	return false
}

// casesOfDecide returns the types that the function Decide switches over.
func casesOfDecide(files []*ast.File) map[string]bool {
	cases := map[string]bool{}
	for _, file := range files {
		for _, decl := range file.Decls {
			f, ok := decl.(*ast.FuncDecl)
			if !ok || f.Name.Name != "Decide" || f.Recv != nil {
				continue
			}
			ast.Inspect(f, func(n ast.Node) bool {
				// The recovery's own switch over what was thrown is in a function literal.
				if _, inner := n.(*ast.FuncLit); inner {
					return false
				}
				if clause, ok := n.(*ast.CaseClause); ok {
					for _, kind := range clause.List {
						if name, ok := kind.(*ast.Ident); ok {
							cases[name.Name] = true
						}
					}
				}
				return true
			})
		}
	}
	return cases
}
