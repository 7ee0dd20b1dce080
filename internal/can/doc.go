// Package can takes numbers out of the frames of a CAN bus as candump logs
// them.
//
// A Signal is some bits of the frames of one identifier, with a scale. The
// first bit is counted as CAN database files count it:
//
//   - little endian: Start is the least significant bit; bit 0 is the least
//     significant bit of byte 0, bit 8 that of byte 1.
//   - big endian: Start is the most significant bit, in the same count; the
//     signal goes down to bit 0 of its byte and on at bit 7 of the next.
//
// So the first two bytes are 16 bits from bit 0 little endian, and 16 bits
// from bit 7 big endian. Source: the format of CAN database files, from
// memory.
package can
