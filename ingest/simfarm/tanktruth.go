package simfarm

// TankTruth is what the tank did, which no log shows whole.
type TankTruth struct {
	LossKWh, StoreChangeKWh float64
	LossWPerK               float64
}

// TankTruth is the tank's own balance over the season.
func (f *Farm) TankTruth() TankTruth {
	return TankTruth{
		LossKWh: f.closure.tankLossKJ / 3600, StoreChangeKWh: f.closure.tankStoredKJ / 3600, LossWPerK: f.s.Tank.LossWPerK,
	}
}
