//go:build unix

package dbtest

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/containerd/errdefs"
	"github.com/moby/moby/api/types/container"
	"github.com/moby/moby/api/types/network"
	"github.com/moby/moby/client"
	"github.com/testcontainers/testcontainers-go"
	"github.com/testcontainers/testcontainers-go/log"
	"github.com/testcontainers/testcontainers-go/wait"
)

// defaultImage is what deploy/image/postgres/build makes from the machine's own Postgres.
const defaultImage = "laneward-postgres:local"

// imageName is the image to run: ours, or any that takes POSTGRES_PASSWORD and server options as
// the command.
func imageName() string {
	if name := os.Getenv(imageVariable); name != "" {
		return name
	}
	return defaultImage
}

// engineAddress returns the address of the Docker engine, which has answered a dial: a client
// binary proves nothing, and a missing engine has no typed error.
func engineAddress() (string, error) {
	candidates := []string{"unix:///var/run/docker.sock"}
	if dir := os.Getenv("XDG_RUNTIME_DIR"); dir != "" {
		candidates = append(candidates, "unix://"+filepath.Join(dir, "docker.sock")) // an engine without root
	}
	host := os.Getenv("DOCKER_HOST")
	if host != "" {
		candidates = []string{host}
	}
	var faults []error
	for _, candidate := range candidates {
		err := dial(candidate)
		if err == nil {
			return candidate, nil
		}
		faults = append(faults, err)
	}
	if host == "" {
		return "", fmt.Errorf("%w: no Docker engine answers: %w", errNotThere, errors.Join(faults...))
	}
	return "", fmt.Errorf("the Docker engine at DOCKER_HOST does not answer: %w", errors.Join(faults...))
}

func dial(host string) error {
	parsed, err := client.ParseHostURL(host)
	if err != nil {
		return err
	}
	place := parsed.Host
	if parsed.Scheme == "unix" {
		place = parsed.Host + parsed.Path
	}
	conn, err := net.DialTimeout(parsed.Scheme, place, 2*time.Second) //nolint:noctx // it has its own limit
	if err != nil {
		return err
	}
	return conn.Close()
}

// imageAtHand reports, quickly, whether an engine answers and holds the image.
func imageAtHand(ctx context.Context) error {
	host, err := engineAddress()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	docker, err := client.New(client.WithTLSClientConfigFromEnv(), client.WithHost(host))
	if err != nil {
		return err
	}
	_, err = docker.ImageInspect(ctx, imageName())
	closeErr := docker.Close()
	switch {
	case errdefs.IsNotFound(err):
		return fmt.Errorf(
			"the Docker engine at %s has no image %s: make it by deploy/image/postgres/build, or pull it",
			host,
			imageName(),
		)
	case err != nil:
		return fmt.Errorf("ask the Docker engine at %s for the image %s: %w", host, imageName(), err)
	}
	return closeErr
}

// startContainer runs the image on the engine, its port on loopback only.
func startContainer(ctx context.Context) (*keptServer, error) {
	host, err := engineAddress()
	if err != nil {
		return nil, err
	}
	if err := setContainerEnvironment(host); err != nil {
		return nil, err
	}
	log.SetDefault(log.NewNoopLogger()) // it would write into the tests' own output
	password := rand.Text()
	options := []testcontainers.ContainerCustomizer{
		testcontainers.WithEnv(map[string]string{"POSTGRES_PASSWORD": password}),
		testcontainers.WithExposedPorts(containerPort),
		testcontainers.WithCmd(append([]string{"postgres"}, commandSettings()...)...),
		testcontainers.WithWaitStrategyAndDeadline(time.Minute, wait.ForListeningPort(containerPort)),
	}
	if local(host) {
		options = append(options, testcontainers.WithHostConfigModifier(func(config *container.HostConfig) {
			loopback := network.PortBinding{HostIP: netip.MustParseAddr("127.0.0.1")}
			config.PortBindings = network.PortMap{network.MustParsePort(containerPort): {loopback}}
		}))
	}
	running, err := testcontainers.Run(ctx, imageName(), options...)
	stop := func(ctx context.Context) error {
		return testcontainers.TerminateContainer(
			running,
			testcontainers.StopContext(ctx),
			testcontainers.StopTimeout(0),
		)
	}
	if err == nil {
		var address string
		if address, err = containerURL(ctx, running, password); err == nil {
			return &keptServer{adminURL: address, stop: stop}, nil
		}
	}
	return nil, errors.Join(fmt.Errorf("run the image %s: %w", imageName(), err), stop(context.WithoutCancel(ctx)))
}

const containerPort = "5432/tcp"

func local(host string) bool {
	parsed, err := url.Parse(host)
	return err == nil && parsed.Scheme == "unix"
}

// setContainerEnvironment sets what testcontainers reads, before it reads it. Inside a container it
// would take the gateway of its network for the engine's host; an engine on a unix socket is on
// this machine. The keeper clears up, so no reaper is needed.
func setContainerEnvironment(host string) error {
	settings := map[string]string{"DOCKER_HOST": host, "TESTCONTAINERS_RYUK_DISABLED": "true"}
	if local(host) {
		settings["TESTCONTAINERS_HOST_OVERRIDE"] = "127.0.0.1"
	}
	for name, value := range settings {
		if err := os.Setenv(name, value); err != nil {
			return err
		}
	}
	return nil
}

func commandSettings() []string {
	var args []string
	for name, value := range testSettings {
		args = append(args, "-c", name+"="+value)
	}
	return args
}

// containerURL returns the administrator's address once the server answers there.
func containerURL(ctx context.Context, running testcontainers.Container, password string) (string, error) {
	host, err := running.Host(ctx)
	if err != nil {
		return "", err
	}
	port, err := running.MappedPort(ctx, containerPort)
	if err != nil {
		return "", err
	}
	address := url.URL{
		Scheme: "postgres", User: url.UserPassword("postgres", password), Host: net.JoinHostPort(host, port.Port()),
		Path: "/postgres", RawQuery: "sslmode=disable",
	}
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	for {
		err := ping(ctx, address.String())
		if err == nil {
			return address.String(), nil
		}
		select {
		case <-ctx.Done():
			return "", fmt.Errorf("the server in the container takes no connections: %w", err)
		case <-time.After(50 * time.Millisecond):
		}
	}
}
