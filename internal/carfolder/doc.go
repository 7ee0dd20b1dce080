// Package carfolder finds a car's folder, loads all its files, and gives one
// list of everything that is wrong with them.
//
//	vehicle.yaml       what the car is
//	people.yaml        names and contacts
//	instruments.yaml   meters: ranges, accuracy, category, calibrated until
//	procedures/*.yaml  procedures and step blocks
//	rules/*.yaml       rule sets
//	cautions.yaml      warning texts and protective equipment
//	rework.yaml        what work touches which proofs; the program's own where it is not there
//
// It tells the files that came with the program from those that the shop has
// changed or added, and knows which proofs the program's own procedures give,
// so that deleting a file does not remove a requirement.
package carfolder
