package api

import (
	"errors"
	"testing"

	"laneward/openapi"
)

// Requests are checked as of the older version, which must know every word that the contract uses.
func TestContractReadsAsTheOlderVersion(t *testing.T) {
	c, err := loadContract(openapi.Contract)
	if err != nil {
		t.Fatal(err)
	}
	for _, route := range c.routes {
		if err := errors.Join(
			route.Spec.Components.Validate(t.Context()),
			route.Spec.Paths.Validate(t.Context()),
		); err != nil {
			t.Fatal(err)
		}
		return
	}
	t.Fatal("the contract has no operation")
}
