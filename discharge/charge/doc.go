// Package charge turns the settings of a process into a weigh sheet: what is
// weighed and measured for tonight's load, in which order it is done, how the
// oxidizer is undone, what must not meet, and what it costs.
//
// [New] takes a [Load] and returns a [Sheet], or the reason why the load cannot
// be run. A sheet states for every batch which settings its rounded weights
// amount to, and, with a model, by how much CIEDE2000 the rounding moves the
// shade.
//
// Imports point one way: charge uses discharge (processes, settings, the shade
// model) and discharge/chem (units, reactions, hazards); neither knows charge.
//
// What is habit of the trade is marked with [chem.CommonPractice]: such ranges
// warn, they never refuse. Solutions are taken to weigh 1 kg/L, right within
// 4 % for every bath here.
package charge
