package main

import (
	"regexp"
	"strings"
	"testing"
)

// TestTakeForLaterByPage holds that the offer page's third button makes a fallback, and that
// its page, the caller's and the desk say so, without the address.
func TestTakeForLaterByPage(t *testing.T) {
	s := newSite(t, somePages, 3)
	ada, where := s.link("ada", "o"), s.link("gwen", "w")
	if page := s.page(ada); !strings.Contains(page, "Take it, in an hour") {
		t.Error("the page of an open offer lacks the button for later")
	}
	s.want("for later", s.press(ada, does("later")), "kept")
	page := s.page(ada)
	if strings.Contains(page, "14 Mill") || !strings.Contains(page, "our fallback until") || !strings.Contains(page, "I can go now") {
		t.Errorf("the fallback's page:\n%s", page)
	}
	if page := s.page(where); !strings.Contains(page, "can come about") {
		t.Errorf("the caller's page does not tell of the fallback:\n%s", page)
	}
	s.enter()
	call := regexp.MustCompile(`/desk/call/[a-z2-7]+`).FindString(s.page("/desk/"))
	if desk := s.page(call); !strings.Contains(desk, "Why these") || !strings.Contains(desk, "Swarm lost within an hour") || !strings.Contains(desk, "(fallback)") {
		t.Errorf("the desk does not explain the call:\n%s", desk)
	}
	if !strings.Contains(s.page("/desk/"), "fallback: <b>Ada") {
		t.Error("the desk's list does not show the fallback")
	}
	s.want("not after all", s.press(ada, does("drop")), "noted")
	if !strings.Contains(s.screen("gwen"), "Ada cannot come after all") {
		t.Errorf("Gwen did not hear that the fallback is gone:\n%s", s.screen("gwen"))
	}
}
