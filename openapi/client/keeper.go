package client

import (
	"context"
	"net/http"
	"sync"
	"time"

	"laneward/openapi"
)

// leeway is how long before its expiry an access token counts as expired.
const leeway = 30 * time.Second

// refreshLimit bounds one refresh, and refreshGrace how long it goes on when its context has ended:
// a refresh token is spent by the request, and a client that does not wait for the answer may find
// its user signed out the next day.
const (
	refreshLimit = 30 * time.Second
	refreshGrace = 3 * time.Second
)

// keeper keeps a device signed in to one server.
type keeper struct {
	server string
	store  *Store
	clock  clock
	open   *openapi.ClientWithResponses // sends without a token

	mu     sync.Mutex
	cached SignIn
}

func (k *keeper) remember(signIn SignIn) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.cached = signIn
}

func (k *keeper) fresh(signIn SignIn) bool {
	return signIn.AccessToken != "" && k.clock.now().Add(leeway).Before(signIn.AccessExpires)
}

// token returns an access token that is valid for a while.
func (k *keeper) token(ctx context.Context) (string, error) {
	k.mu.Lock()
	signIn := k.cached
	k.mu.Unlock()
	if k.fresh(signIn) {
		return signIn.AccessToken, nil
	}
	held, err := k.store.Load()
	if err != nil {
		return "", err
	}
	if signIn = held.SignIns[k.server]; k.fresh(signIn) {
		k.remember(signIn)
		return signIn.AccessToken, nil
	}
	return k.renew(ctx, signIn.AccessToken)
}

// renew returns a new access token in place of one that has expired or was refused. Only one
// process asks the server at a time, and those that waited use what it got: a refresh token that
// two processes spend would end the sign-in.
func (k *keeper) renew(ctx context.Context, useless string) (string, error) {
	var token string
	err := k.store.locked(ctx, func() error {
		held, err := k.store.Load()
		if err != nil {
			return err
		}
		signIn := held.SignIns[k.server]
		if signIn.AccessToken != useless && k.fresh(signIn) {
			token = signIn.AccessToken
			k.remember(signIn)
			return nil
		}
		if signIn.RefreshToken == "" {
			return k.signedOut(signIn)
		}
		tokens, err := k.refresh(ctx, signIn)
		if CodeOf(err) == Unauthenticated {
			signIn.AccessToken, signIn.RefreshToken, signIn.AccessExpires = "", "", time.Time{}
			held.SignIns[k.server] = signIn
			if failed := k.store.write(held); failed != nil {
				return failed
			}
			return k.signedOut(signIn)
		}
		if err != nil {
			return err
		}
		signIn.take(tokens, k.clock.now())
		held.SignIns[k.server] = signIn
		if err := k.store.write(held); err != nil {
			return err
		}
		token = signIn.AccessToken
		k.remember(signIn)
		return nil
	})
	return token, err
}

// refresh exchanges the refresh token for new tokens. When the answer is lost the same token is
// sent again, and the server returns the same ones.
func (k *keeper) refresh(ctx context.Context, signIn SignIn) (openapi.Tokens, error) {
	patient, cancel := context.WithTimeout(context.WithoutCancel(ctx), refreshLimit)
	defer cancel()
	defer context.AfterFunc(ctx, func() { time.AfterFunc(refreshGrace, cancel) })()
	answer, err := k.open.RefreshTokensWithResponse(
		resend(patient),
		openapi.Refresh{RefreshToken: signIn.RefreshToken, Device: signIn.Device},
	)
	if err != nil {
		return openapi.Tokens{}, err
	}
	tokens, err := answerOf(answer.JSON201, answer.Body, answer.HTTPResponse)
	return tokens.Value, err
}

func (k *keeper) signedOut(signIn SignIn) error {
	if signIn.Email == "" {
		return fail(SignedOut, "nobody is signed in to %s on this computer", k.server)
	}
	return &Error{
		Code:   SignedOut,
		Status: http.StatusUnauthorized,
		Detail: "the sign-in of " + signIn.Email + " to " + k.server + " has ended",
	}
}

func (s *SignIn) take(tokens openapi.Tokens, now time.Time) {
	s.AccessToken, s.RefreshToken = tokens.AccessToken, tokens.RefreshToken
	s.AccessExpires = now.Add(time.Duration(tokens.ExpiresIn) * time.Second)
}
