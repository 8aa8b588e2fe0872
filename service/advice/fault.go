package advice

import (
	"errors"
	"strings"

	"laneward/service/line"
	"laneward/service/record"
)

// faultsOf turns the planner's faults into those of the request, by their places in a request: the
// athlete, the ball and the scatter are those of the subject's records. aim is where the request
// has the line, "" at its top.
func faultsOf(aim string, err error) error {
	var found line.Faults
	if !errors.As(err, &found) {
		return err
	}
	faults := make(record.Faults, len(found))
	for i, fault := range found {
		faults[i] = record.Fault{Pointer: fault.Pointer, Code: fault.Code, Detail: fault.Detail}
		part, name, _ := strings.Cut(strings.TrimPrefix(fault.Pointer, "/"), "/")
		switch part {
		case "laydown_board", "launch_angle_deg":
			faults[i].Pointer = aim + fault.Pointer
		case "pocket", "friction":
			faults[i].Pointer = "/subject" + fault.Pointer
		case "athlete", "scatter", "ball":
			owner := strings.Replace(part, "scatter", "athlete", 1)
			faults[i].Pointer, faults[i].Detail = "/subject/"+owner+"_id", name+" "+fault.Detail
		}
	}
	return faults
}
