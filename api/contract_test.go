package api

import (
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
		if err := route.Spec.Validate(t.Context()); err != nil {
			t.Fatal(err)
		}
		return
	}
	t.Fatal("the contract has no operation")
}
