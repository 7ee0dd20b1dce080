package capture

func isCandump(head []byte) bool { return false }

func (s *source) readCAN(opt Options) (*Waveform, error) { return nil, nil }
