// Package vehicle is the car as data: vehicle.yaml read, checked, and
// offered to formulas.
//
// # The file
//
// One schema table (Fields) says everything that a file may say. All of it
// may be absent but `format: 1` and `name`. A value is written with its
// unit, and with its tolerance where it has one: 1.02 mF ±10%. An absent
// value is never guessed: a formula that needs it says which line to write.
//
// Names of items match [a-z][a-z0-9_]*, have at most 63 characters, and are not
// the name of a unit.
// A fuse protects the pack of its own name unless it says `pack`, or `part`
// for another circuit. A shutdown device opens all contactors unless it
// says which it `opens`. The AC side counts as conductively connected
// unless the file denies it.
//
// # Names in formulas
//
// Every field is a name, by its dotted path: packs.left.cells.max. So are
//
//   - sections and items, as conditions: has(pyro), count(shutdown.*);
//   - isolation.parts.NAME and bonding.points.NAME, for count and loops;
//   - shutdown.DEVICE.opens.CONTACTOR, true or false;
//   - isolation.parts.NAME.source, whether that part cannot be rid of its
//     voltage;
//   - derived numbers (Derived), formulas themselves: system.max_voltage.
//
// # CAN signals
//
// A signal under can is called after the role that it plays in a capture:
// dc_link, pack, main_contactor, precharge_relay, trip, coil, current, or
// current_NAME for a pack's. Bits are counted from the lowest bit of byte 0
// upwards, eight to a byte. A little-endian signal starts at its lowest bit, a
// big-endian one at its highest, and goes on at bit 7 of the next byte:
//
//	can:
//	  dc_link: {id: 0x3A1, start: 0, bits: 16, order: little, scale: 0.1 V}
//	  pack: {id: 0x18FF50E5, start: 7, bits: 16, order: big, scale: 0.1 V, invalid: [0xFFFF]}
//	  main_contactor: {id: 0x3A2, start: 12, bits: 1, order: little, scale: 1}
//
// Little endian, bytes 0 and 1 are 16 bits from bit 0; big endian they are 16
// bits from bit 7.
//
// # Resistance of cells
//
// A cell has not one resistance. Sharing between packs follows the DC
// resistance (cells.resistance, and cells.cold_resistance on a cold day);
// a short circuit and an inrush follow the lower short-time resistance of a
// warm cell (cells.fault_resistance). Neither stands in for the other: what
// is not written is missing.
package vehicle
