// Package client talks to a Laneward server. It knows the contract and nothing else of the program:
// it signs in and stays signed in, retries what a bad network lost, and turns problems back into
// typed errors.
//
// Records come and go as their kind, id, revision and JSON ([Record]), so that a store on the
// device can hold the same.
package client
