// Package openapi is the contract and what is generated from it: the types, the strict server
// interface and the client.
package openapi

import _ "embed"

//go:generate go tool oapi-codegen -config server.yaml laneward.yaml
//go:generate go tool oapi-codegen -config client.yaml laneward.yaml

// Contract is laneward.yaml, the contract as it is served and as every request is checked against.
//
//go:embed laneward.yaml
var Contract []byte
