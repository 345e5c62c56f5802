package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/sampledata"
)

// A review as a reviewer and an applicant hold it: the audit, the letter, a
// reply, the mended site, the second round, and what the two audits differ in.
func TestReviewInTwoRounds(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	run := func(want int, args ...string) string {
		t.Helper()
		code, out, errs := call(t, "", args...)
		if code != want {
			t.Fatalf("%v: exit %d, want %d: %s", args, code, want, errs)
		}
		return out
	}
	says := func(text string, words ...string) {
		t.Helper()
		text = strings.Join(strings.Fields(text), " ") // lines are broken anywhere
		for _, w := range words {
			if !strings.Contains(text, w) {
				t.Errorf("not said: %q in\n%.3000s", w, text)
			}
		}
	}
	doc := sampledata.StatePlane()
	if err := os.WriteFile(at("one.json"), doc, 0o644); err != nil {
		t.Fatal(err)
	}
	// the applicant opens the fence of C6 to the ground
	mended := bytes.Replace(doc, []byte(`"lot":"C6","bottom":"solid"`), []byte(`"lot":"C6","bottom":"open"`), 1)
	if bytes.Equal(mended, doc) {
		mended = bytes.Replace(doc, []byte(`"bottom":"solid","kind":"fence","lot":"C6"`), []byte(`"bottom":"open","kind":"fence","lot":"C6"`), 1)
	}
	if bytes.Equal(mended, doc) {
		t.Fatal("the sample has no solid fence on C6")
	}
	if err := os.WriteFile(at("two.json"), mended, 0o644); err != nil {
		t.Fatal(err)
	}
	audit := []string{"--check", "drains", "--check", "fences", "--check", "footprints"}
	run(exitStop, append([]string{"audit", at("one.json"), "--out", at("a1.json")}, audit...)...)
	run(exitStop, append([]string{"audit", at("two.json"), "--out", at("a2.json")}, audit...)...)

	first := run(exitStop, "review", at("a1.json"), "--out", at("r1.json"))
	says(first, "Round 1 (preliminary)", "LOT C3", "Drain DR-C3 lies over the lot line for 4.98 ft", "practice note P-52)", "dams it. [Must be resolved.]", "Reply: ____")
	number := ""
	for _, l := range strings.Split(first, "\n") {
		if strings.Contains(l, "Fence fence C6, closed") {
			number = strings.TrimSuffix(strings.Fields(l)[0], ".")
		}
	}
	says(run(exitStop, "review", "--letter", at("r1.json"), "--reply", number+"=The fence now stands 4 in clear.", "--out", at("r1.json")), "Reply, round 1: The fence now stands 4 in clear.")
	second := run(exitStop, "review", at("a2.json"), "--letter", at("r1.json"), "--out", at("r2.txt"))
	says(second, "Round 2 (preliminary)", "CLOSED", "(C6, round 2) Fence", "Reply, round 1: The fence now stands 4 in clear.", "Open since round 1.", "practice note P-38)")
	if b, err := os.ReadFile(at("r2.txt")); err != nil || string(b) != second {
		t.Errorf("the letter in the file is another: %v", err)
	}

	same := run(exitDone, "compare", at("a1.json"), at("a1.json"))
	says(same, "36 lots stand as before, 0 changed")
	says(run(exitDone, "compare", at("a1.json"), at("a2.json"), "--out", at("d.csv")), "35 lots stand as before, 1 changed (0 worse, 1 better)", "Lot C6: changed", "- gone: Fence", "- new: Fence")
	says(run(exitStop, "compare", at("a2.json"), at("a1.json")), "(1 worse, 0 better)", "(worse)")
	if b, err := os.ReadFile(at("d.csv")); err != nil || strings.Count(string(b), "\n") != 2 {
		t.Errorf("%s %v", b, err)
	}

	for _, bad := range [][]string{{"review"}, {"review", at("one.json")}, {"review", at("a1.json"), "--letter", at("a1.json")}, {"review", at("a1.json"), "--reply", "1=x"},
		{"review", "--letter", at("r1.json"), "--reply", "one=x"}, {"review", "--letter", at("r1.json"), "--reply", "999=x"}, {"review", at("absent.json")}, {"compare", at("a1.json"), at("d.csv")}} {
		if code, _, errs := call(t, "", bad...); code != exitInput || errs == "" {
			t.Errorf("%v: exit %d %s", bad, code, errs)
		}
	}
}
