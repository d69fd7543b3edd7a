// Package understand turns what people type into typed values.
//
// Every reader takes the text as it came and says which bytes of it were used, so that one message can answer several
// questions: the caller reads sizes first, masks what was taken (Mask), and reads the rest with the next reader.
// Spans are byte offsets into the text given. A reader sees only the first MaxRead bytes.
//
// A useful order for a mixed message is: Command, GuestCode, VIN, Sizes, Codes, Lamps, Odometer, Voltage, Treads,
// Gears, Rollout, PublishedRevs, Pressures, StoredValues, Readings; each on what the ones before left.
//
// Nothing is guessed. Where a text has two meanings, or none, the reader returns an *Ask: a code for the caller's own
// words, what was said, and a ready English sentence. Matches returned beside an Ask are those that were certain.
//
// Words live in tables (english*.go), a phrase to a meaning, so that another language is another set of tables.
// What is not this package's business: whether a value makes sense for a vehicle (package calib), which question is
// open, who may answer (package flow).
package understand
