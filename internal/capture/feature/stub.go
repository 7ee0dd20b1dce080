package feature

func (a *analyst) discharge()    {}
func (a *analyst) emergencyOff() {}
func (a *analyst) sharing()      {}
func (a *analyst) coil()         {}
