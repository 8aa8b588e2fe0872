//go:build unix

package dbtest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// A server must end with the test process, however that ends: a Go program has no hook for a panic
// or a kill. So the server belongs to a second process, the keeper, which runs until its standard
// input, a pipe from the test process, is closed by the kernel. The keeper is the test binary
// itself, started with keeperVariable set. It shares standard error with the test process, so that
// `go test` waits for it and reports what went wrong in cleaning up.

// keeperVariable names the way that a keeper is to start its server; it is set for keepers only.
const keeperVariable = "LANEWARD_DBTEST_KEEPER"

// keeperReply is the one line that a keeper writes.
type keeperReply struct {
	AdminURL string `json:"admin_url,omitempty"`
	Error    string `json:"error,omitempty"`
}

func init() {
	by := way(os.Getenv(keeperVariable))
	if by == "" {
		return
	}
	if err := runKeeper(by, os.Stdin, os.Stdout); err != nil {
		fmt.Fprintf(os.Stderr, "dbtest: the keeper of the test's Postgres (%s): %v\n", by, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// keptServer is a server that a keeper started, and how to stop it.
type keptServer struct {
	adminURL string
	stop     func(context.Context) error
}

// runKeeper starts a server, writes its address, and stops it when stdin ends.
func runKeeper(by way, stdin io.Reader, stdout io.Writer) error {
	owned, ended := context.WithCancel(context.Background())
	go func() {
		defer ended()
		_, _ = io.Copy(io.Discard, stdin) // an error is an end, too
	}()
	starters := map[way]func(context.Context) (*keptServer, error){
		wayTestcontainers: startContainer,
		wayPrivate:        startPrivate,
	}
	server, err := starters[by](owned)
	if err != nil {
		return json.NewEncoder(stdout).Encode(keeperReply{Error: err.Error()})
	}
	replyErr := json.NewEncoder(stdout).Encode(keeperReply{AdminURL: server.adminURL})
	if replyErr == nil {
		<-owned.Done()
	}
	stopping, cancel := context.WithTimeout(context.Background(), stopLimit)
	defer cancel()
	return errors.Join(replyErr, server.stop(stopping))
}

// stopLimit bounds how long `go test` waits for a keeper.
const stopLimit = 30 * time.Second

// keeperPipe holds the writing end of the keeper's standard input open for the life of this
// process.
var keeperPipe struct {
	sync.Mutex
	open []io.Closer
}

// startKeeper starts the keeper of a server and returns the server's address.
func startKeeper(ctx context.Context, by way) (string, error) {
	program, err := os.Executable()
	if err != nil {
		return "", err
	}
	keeper := exec.Command(program) //nolint:noctx // it outlives the test
	keeper.Env = append(os.Environ(), keeperVariable+"="+string(by))
	keeper.Stderr = os.Stderr
	keeper.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // ^C reaches the tests, and the keeper by their end
	stdin, err := keeper.StdinPipe()
	if err != nil {
		return "", err
	}
	stdout, err := keeper.StdoutPipe()
	if err != nil {
		return "", err
	}
	if err := keeper.Start(); err != nil {
		return "", err
	}
	reply, err := readReply(ctx, stdout)
	if err == nil && reply.Error != "" {
		err = errors.New(reply.Error)
	}
	if err != nil {
		return "", errors.Join(err, stdin.Close(), keeper.Wait())
	}
	keeperPipe.Lock()
	defer keeperPipe.Unlock()
	keeperPipe.open = append(keeperPipe.open, stdin)
	return reply.AdminURL, nil
}

// readReply reads the keeper's line, and gives up when ctx ends.
func readReply(ctx context.Context, stdout io.ReadCloser) (keeperReply, error) {
	type answer struct {
		reply keeperReply
		err   error
	}
	answers := make(chan answer, 1)
	go func() {
		var a answer
		a.err = json.NewDecoder(stdout).Decode(&a.reply)
		answers <- a
	}()
	select {
	case a := <-answers:
		if a.err != nil {
			return keeperReply{}, fmt.Errorf("the keeper of the server ended without an answer: %w", a.err)
		}
		return a.reply, nil
	case <-ctx.Done():
		return keeperReply{}, fmt.Errorf("the server did not start in time: %w", ctx.Err())
	}
}

// ping returns once the server at the address has answered a connection.
func ping(ctx context.Context, address string) error {
	return withConn(ctx, address, func(*pgx.Conn) error { return nil })
}
