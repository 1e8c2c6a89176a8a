// Package discharge learns from a laundry's own trial lots how far settings
// take the color out of dyed garments, and turns a target shade into settings.
//
// The story, from lot to load:
//
//   - [ReadTable] reads a table of trial lots, one row per reading, and refuses
//     what cannot be right with a [RowError]: file, row, column, value, remedy.
//     Readings of two viewings or of two measurement conditions ([Condition]) are
//     never averaged or compared.
//   - [Fit] learns dose, level, shade path and scatter from it. [Load] and
//     [Model.Save] keep a model as JSON.
//   - [Model.Predict] says what settings give, with the scatter of lots.
//   - [Model.Suggest] finds settings for a [Target], with the probability that
//     the next lot passes and the time window for unloading.
//   - [FirstPlan] and [Model.Plan] choose the lots to run next, and
//     [Model.Recalibrate] carries a model over to another fabric or machine.
//   - Package discharge/quality judges lots, discharge/charge weighs them out,
//     discharge/chem does the chemistry.
//
// # In a program of your own
//
// Nothing here opens files, logs, keeps package-level state or starts work
// behind the caller's back. A [Model] never changes and may be used by any
// number of goroutines. [Model.Predict] takes about a microsecond and allocates
// nothing. What may take longer than some tenths of a second has a form that
// ends with a context: [FitContext], [Model.SuggestContext], [Model.PlanContext],
// [FirstPlanContext], [Model.Influences]. A settings table of any length is read
// with [NewSettingsStream].
//
// A [Table] may also be made of rows of a database: see [Table.Check] for what must
// be set, and [Table.ColorSpectra] where these are spectra. What is returned holds plain
// values and can be written as JSON, a Model as what Save writes. Warnings are errors,
// so that errors.As finds their place; encoding/json sees nothing in an error, so write the text
// of each. A [Process] is written with the names of its fields and read back by
// encoding/json; what people write is read by [ReadProcess].
//
// # Units
//
// Settings are keyed by column name, which ends in the unit: strength_pct,
// ratio, time_min, temp_c. L* runs from 0 to 100, levels and probabilities from
// 0 to 1, and every color is tied to a viewing (illuminant and observer).
//
// # Stability
//
// The module has no release yet, so exported names may still change; each
// change is told in CHANGELOG.md. What is kept already now: a model file written
// by an earlier version loads and predicts what that version predicted, to nine
// digits; the JSON keys, column names and exit codes of the tool; the sentinels
// of this package under errors.Is. From the first release on the module follows
// semantic versioning. See DEVELOPERS.md.
package discharge
