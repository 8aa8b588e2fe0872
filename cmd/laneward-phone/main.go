//go:build js && wasm

// The program laneward-phone is the domain's packages for the logger's page, as WebAssembly: it
// gives the page one function, lanewardCall(name, json), which returns an object with the answer
// or an error, and waits.
package main

import (
	"syscall/js"

	"laneward/service/phone"
)

func main() {
	engine := phone.New()
	js.Global().Set("lanewardCall", js.FuncOf(func(_ js.Value, args []js.Value) any {
		answer, err := engine.Call(args[0].String(), []byte(args[1].String()))
		if err != nil {
			return map[string]any{"error": err.Error()}
		}
		return map[string]any{"answer": string(answer)}
	}))
	select {}
}
