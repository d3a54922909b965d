// The reference job through the C interface, with cgo. See ../README.md for what is written.
package main

/*
#cgo pkg-config: faultloom
#include <faultloom.h>
#include <stdlib.h>

int32_t watchShares(double share, void* user);
*/
import "C"

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime/cgo"
	"strconv"
	"strings"
	"unsafe"
)

// refused is why a call failed.
type refused struct {
	status                          int
	name, message, pointer, details string
}

func (r *refused) Error() string { return r.message }

// take turns a status and its error into a Go error and frees the latter.
func take(status C.faultloom_status, err *C.faultloom_error) error {
	if status == C.FAULTLOOM_OK {
		return nil
	}
	defer C.faultloom_error_free(err)
	return &refused{
		status:  int(C.faultloom_error_code(err)),
		name:    C.GoString(C.faultloom_status_name(status)),
		message: C.GoString(C.faultloom_error_message(err)),
		pointer: C.GoString(C.faultloom_error_pointer(err)),
		details: C.GoString(C.faultloom_error_details(err)),
	}
}

// watcher notes what it is told and says stop at call number stopAt, if that is not 0.
type watcher struct {
	shares []float64
	stopAt int
}

//export watchShares
func watchShares(share C.double, user unsafe.Pointer) C.int32_t {
	w := (*(*cgo.Handle)(user)).Value().(*watcher)
	w.shares = append(w.shares, float64(share))
	if len(w.shares) == w.stopAt {
		return 1
	}
	return 0
}

// text is the bytes of a Go string in C's memory for the time of one call.
func text(value string) (*C.char, C.size_t, func()) {
	data := C.CString(value)
	return data, C.size_t(len(value)), func() { C.free(unsafe.Pointer(data)) }
}

func load(vehicle *string) (*C.faultloom_model, error) {
	var model *C.faultloom_model
	var err *C.faultloom_error
	var data *C.char
	var size C.size_t
	if vehicle != nil {
		var free func()
		data, size, free = text(*vehicle)
		defer free()
	}
	status := C.faultloom_model_from_json(data, size, nil, 0, nil, 0, nil, 0, nil, 0, nil, nil, &model, &err)
	return model, take(status, err)
}

func answer(out *C.faultloom_text) []byte {
	defer C.faultloom_text_free(out)
	return C.GoBytes(unsafe.Pointer(C.faultloom_text_data(out)), C.int(C.faultloom_text_size(out)))
}

func rank(model *C.faultloom_model, job string) ([]byte, error) {
	var out *C.faultloom_text
	var err *C.faultloom_error
	data, size, free := text(job)
	defer free()
	options, optionsSize, freeOptions := text(`{"top":10,"budget_sets":500}`)
	defer freeOptions()
	status := C.faultloom_rank(model, data, size, options, optionsSize, nil, nil, &out, &err)
	return answer(out), take(status, err)
}

func nextStep(model *C.faultloom_model, job string, w *watcher) ([]byte, error) {
	var out *C.faultloom_text
	var err *C.faultloom_error
	data, size, free := text(job)
	defer free()
	options, optionsSize, freeOptions := text(`{"alternatives":1}`)
	defer freeOptions()
	handle := cgo.NewHandle(w)
	defer handle.Delete()
	status := C.faultloom_next_step(model, data, size, options, optionsSize,
		C.faultloom_progress_fn(C.watchShares), unsafe.Pointer(&handle), &out, &err)
	return answer(out), take(status, err)
}

func numbers(name string, values []float64) string {
	words := []string{name}
	for _, value := range values {
		words = append(words, strconv.FormatFloat(value, 'g', -1, 64))
	}
	return strings.Join(words, " ")
}

func names(model *C.faultloom_model) []string {
	var count C.size_t
	var first, last *C.char
	var err *C.faultloom_error
	must(take(C.faultloom_terminal_count(model, &count, &err), err))
	must(take(C.faultloom_terminal_name(model, 0, &first, &err), err))
	must(take(C.faultloom_terminal_name(model, count-1, &last, &err), err))
	terminals := fmt.Sprintf("terminals %d %s %s", count, C.GoString(first), C.GoString(last))
	must(take(C.faultloom_mode_count(model, &count, &err), err))
	must(take(C.faultloom_mode_name(model, 0, &first, &err), err))
	must(take(C.faultloom_mode_name(model, count-1, &last, &err), err))
	return []string{terminals, fmt.Sprintf("modes %d %s %s", count, C.GoString(first), C.GoString(last))}
}

func arrays(model *C.faultloom_model, job string) []string {
	var needed C.size_t
	var err *C.faultloom_error
	situation, size, free := text(`{"state":{"key":"on"}}`)
	defer free()
	must(take(C.faultloom_terminal_volts(model, situation, size, nil, 0, &needed, &err), err))
	volts := make([]float64, needed)
	must(take(C.faultloom_terminal_volts(model, situation, size, (*C.double)(&volts[0]), needed, &needed, &err), err))

	data, jobSize, freeJob := text(job)
	defer freeJob()
	must(take(C.faultloom_mode_posteriors(model, data, jobSize, nil, nil, nil, 0, &needed, &err), err))
	chances := make([]float64, needed)
	must(take(C.faultloom_mode_posteriors(model, data, jobSize, nil, nil, (*C.double)(&chances[0]), needed, &needed, &err), err))
	return []string{numbers("volts", volts), numbers("posteriors", chances)}
}

func must(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func read(path string) string {
	bytes, err := os.ReadFile(path)
	must(err)
	return string(bytes)
}

func refusal(err error) *refused {
	reason, ok := err.(*refused)
	if !ok {
		must(fmt.Errorf("a call that must fail did not: %v", err))
	}
	return reason
}

func main() {
	vehicle, job, broken, folder := read(os.Args[1]), read(os.Args[2]), read(os.Args[3]), os.Args[4]
	write := func(name string, bytes []byte) {
		must(os.WriteFile(filepath.Join(folder, name), bytes, 0o644))
	}
	model, err := load(&vehicle)
	must(err)
	facts := []string{
		"version " + C.GoString(C.faultloom_version()),
		fmt.Sprintf("abi %d", C.faultloom_abi_version()),
	}
	facts = append(facts, names(model)...)
	facts = append(facts, arrays(model, job)...)

	ranking, err := rank(model, job)
	must(err)
	write("ranking.json", ranking)
	patient := &watcher{}
	step, err := nextStep(model, job, patient)
	must(err)
	write("step.json", step)
	facts = append(facts, numbers("shares", patient.shares))
	impatient := &watcher{stopAt: 3}
	_, err = nextStep(model, job, impatient)
	facts = append(facts, fmt.Sprintf("cancelled %d %d", refusal(err).status, len(impatient.shares)))
	C.faultloom_model_free(model)

	_, err = load(&broken)
	problem := refusal(err)
	facts = append(facts, fmt.Sprintf("error %d %s %s", problem.status, problem.name, problem.pointer),
		"message "+problem.message)
	write("details.json", []byte(problem.details))
	_, err = load(nil)
	facts = append(facts, fmt.Sprintf("missing %d %s", refusal(err).status, refusal(err).message))
	write("facts.txt", []byte(strings.Join(facts, "\n")+"\n"))
}
