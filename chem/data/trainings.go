package data

import (
	"slices"
	"sync"
)

// TrainingInterval is how long one training or fit test counts.
type TrainingInterval struct {
	// Subject is respirator-fit, respirator-training, hot-charging, or furnaces for the instruction on one furnace.
	Subject string
	// Months is after how many months it must be done again, on or before the same day of the month.
	Months int
	// Longest says that the source allows no longer interval; otherwise a studio may choose its own.
	Longest bool
	Read    Read
	Source  string
}

var trainingIntervals = sync.OnceValue(func() []TrainingInterval {
	return mustRead("trainings.csv", toTrainingInterval)
})

// TrainingIntervals returns every subject in the table's order.
func TrainingIntervals() []TrainingInterval { return slices.Clone(trainingIntervals()) }

func toTrainingInterval(r *row) TrainingInterval {
	return TrainingInterval{
		Subject: r.text("subject"), Months: r.whole("months"), Longest: r.text("longest") == "yes",
		Read: Read(r.text("read")), Source: r.text("source"),
	}
}
