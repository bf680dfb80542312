package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
)

// maxLine bounds one typed line, in bytes.
const maxLine = 16 << 10

var errLongLine = fmt.Errorf("longer than %d bytes; say one callout a line", maxLine)

// inputLine is one line of input, or what is wrong with it.
type inputLine struct {
	n    int // from 1
	text string
	err  error // errLongLine: this line only; any other: the last
}

// inputLines reads lines until the input ends or ctx is done. The reading goroutine
// may outlive ctx, waiting for a last line, until the process ends.
func inputLines(ctx context.Context, in io.Reader) <-chan inputLine {
	list := make(chan inputLine)
	go func() {
		defer close(list)
		r := bufio.NewReaderSize(in, maxLine)
		for n := 1; ; n++ {
			text, err := inputLineOf(r)
			if errors.Is(err, io.EOF) && text == "" {
				return
			}
			select {
			case list <- inputLine{n, text, ignoreEOF(err)}:
			case <-ctx.Done():
				return
			}
			if err != nil && !errors.Is(err, errLongLine) {
				return
			}
		}
	}()
	return list
}

func ignoreEOF(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// inputLineOf reads to the end of a line; what is too long is read and dropped.
func inputLineOf(r *bufio.Reader) (string, error) {
	part, err := r.ReadSlice('\n')
	if !errors.Is(err, bufio.ErrBufferFull) {
		return strings.TrimRight(string(part), "\r\n"), err
	}
	for errors.Is(err, bufio.ErrBufferFull) {
		_, err = r.ReadSlice('\n')
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	return "", errLongLine
}
