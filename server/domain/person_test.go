package domain_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"saggar/server/domain"
)

func TestATrainingEndsOnItsAnniversary(t *testing.T) {
	for name, c := range map[string]struct{ given, want domain.Training }{
		"fit":           {domain.Training{Subject: "respirator-fit", DoneOn: "2026-03-02"}, domain.Training{ExpiresOn: "2027-03-02"}},
		"leap day":      {domain.Training{Subject: "hot-charging", DoneOn: "2028-02-29"}, domain.Training{ExpiresOn: "2029-02-28"}},
		"furnace":       {domain.Training{Subject: "furnaces/pot", DoneOn: "2026-03-02"}, domain.Training{ExpiresOn: "2027-03-02"}},
		"own interval":  {domain.Training{Subject: "furnaces/pot", DoneOn: "2026-03-02", ExpiresOn: "2030-01-01"}, domain.Training{ExpiresOn: "2030-01-01"}},
		"shorter fit":   {domain.Training{Subject: "respirator-fit", DoneOn: "2026-03-02", ExpiresOn: "2026-09-02"}, domain.Training{ExpiresOn: "2026-09-02"}},
		"longest fit":   {domain.Training{Subject: "respirator-fit", DoneOn: "2026-03-02", ExpiresOn: "2027-03-02"}, domain.Training{ExpiresOn: "2027-03-02"}},
		"the same date": {domain.Training{Subject: "furnaces/pot", DoneOn: "2026-03-02", ExpiresOn: "2026-03-02"}, domain.Training{ExpiresOn: "2026-03-02"}},
	} {
		t.Run(name, func(t *testing.T) {
			p, faults := domain.Person{Trainings: []domain.Training{c.given}}.Complete()
			assert.Empty(t, faults)
			assert.Equal(t, c.want.ExpiresOn, p.Trainings[0].ExpiresOn)
		})
	}
}

func TestTrainingsThatCannotBe(t *testing.T) {
	for field, given := range map[string]domain.Training{
		"trainings[0].done_on":    {Subject: "hot-charging", DoneOn: "2026-02-30"},
		"trainings[0].expires_on": {Subject: "respirator-fit", DoneOn: "2026-03-02", ExpiresOn: "2027-03-03"},
	} {
		_, faults := domain.Person{Trainings: []domain.Training{given}}.Complete()
		if assert.Len(t, faults, 1) {
			assert.Equal(t, field, faults[0].Field)
		}
	}
	_, faults := domain.Person{Trainings: []domain.Training{
		{Subject: "hot-charging", DoneOn: "2026-03-02", ExpiresOn: "2026-03-01"},
		{Subject: "hot-charging", DoneOn: "2026-03-02", ExpiresOn: "soon"},
	}}.Complete()
	assert.Len(t, faults, 3)
}

func TestATrainingCountsFromItsDayToItsLast(t *testing.T) {
	training := domain.Training{Subject: "hot-charging", DoneOn: "2026-03-02", ExpiresOn: "2027-03-02"}
	for date, counts := range map[string]bool{"2026-03-01": false, "2026-03-02": true, "2027-03-02": true, "2027-03-03": false} {
		assert.Equal(t, counts, training.Counts(date), date)
	}
}
