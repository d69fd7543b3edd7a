// Package workspace is a Slack workspace for tests: one team with its channels, its people and one installed app, served on
// loopback only. It knows nothing of the program under test and nothing of any Slack library, so that a misunderstanding of
// ours can't be on both sides.
//
//	person ──▶ message, button, command, file ──▶ event ──▶ Socket Mode or signed HTTP ──▶ the app
//	   ▲                                                                                   │
//	   └── Messages, Home, Views ◀── channels, threads, views, files ◀── Web API ◀─────────┘
//
// It behaves as Slack's documentation says (docs.slack.dev: Web API methods, Events API, Socket Mode, Block Kit reference,
// Formatting message text, Rate limits), and where that is silent it takes the stricter of the readings it could find. What rests on
// memory is marked "from memory" beside the code.
//
// A rule the app breaks is recorded, whether or not Slack would have said something: see [Workspace.Broken]. A test that leaves
// one behind fails when it ends. What comes from outside the app (a missing scope, an archived channel, a person without rights)
// is answered with Slack's error code and is no broken rule.
//
// Faults are switched on by the test: [Workspace.Fault] for the Web API, CutSockets, Disconnect, LoseAcks, Duplicate, Hold, Reorder
// and DropEvents for deliveries, Down for the whole place, Forge and Replay for requests that Slack never made.
package workspace
