package simfarm

import "math"

// TankTruth is what the tank did, which no log shows whole.
type TankTruth struct {
	LossKWh, StoreChangeKWh float64
	LossWPerK               float64
}

// statedTankL is the tank's volume as the farm file states it, to the litre.
func (f *Farm) statedTankL() float64 {
	return math.Round(f.tankVolumeL * (1 + f.errs[xTank]))
}

// TankTruth is the tank's own balance over the season.
func (f *Farm) TankTruth() TankTruth {
	return TankTruth{
		LossKWh: f.closure.tankLossKJ / 3600, StoreChangeKWh: f.closure.tankStoredKJ / 3600, LossWPerK: f.s.Tank.LossWPerK,
	}
}
