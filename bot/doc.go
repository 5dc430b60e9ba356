// Package bot is the hotline: an event in, one decision, one commit.
//
//	door (sms, telegram, web, timer) -> Event
//	  Hotline.Hear: load the documents -> Decide -> commit the Change in one script
//	delivery: lease a due message -> still true? -> send -> record how it ended
//
// Decide is pure: the same documents, event and time give the same bytes. The life of a
// call is in the stage_*.go files. Doors (bot/sms, bot/telegram, bot/web) and the store
// (bot/store) fill the ports stated in ports.go and never import each other.
package bot
