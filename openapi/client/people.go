package client

import (
	"context"
	"os"

	"laneward/openapi"
)

// deviceName is what this device signs in as: its host name.
func deviceName() string {
	name, err := os.Hostname()
	if err != nil || name == "" {
		return "computer"
	}
	return name[:min(len(name), 100)]
}

// SignUp creates a user and signs them in on this device. It returns the sign-in to the same server
// that it replaced, if any.
func (c *Client) SignUp(ctx context.Context, email, name, password string) (ended SignIn, err error) {
	device := deviceName()
	answer, err := c.open.SignUpWithResponse(
		ctx,
		openapi.SignUp{Email: email, Name: name, Password: password, Device: device},
	)
	if err != nil {
		return SignIn{}, err
	}
	tokens, err := answerOf(answer.JSON201, answer.Body, answer.HTTPResponse)
	if err != nil {
		return SignIn{}, err
	}
	return c.signedIn(ctx, email, device, tokens.Value)
}

// SignIn signs a user in on this device. It returns the sign-in to the same server that it
// replaced, if any.
func (c *Client) SignIn(ctx context.Context, email, password string) (ended SignIn, err error) {
	device := deviceName()
	held, err := c.store.Load()
	if err != nil {
		return SignIn{}, err
	}
	request := openapi.SignIn{Email: email, Password: password, Device: device}
	if token := held.deviceToken(c.server, email); token != "" {
		request.DeviceToken = &token
	}
	answer, err := c.open.SignInWithResponse(ctx, request)
	if err != nil {
		return SignIn{}, err
	}
	tokens, err := answerOf(answer.JSON201, answer.Body, answer.HTTPResponse)
	if err != nil {
		return SignIn{}, err
	}
	return c.signedIn(ctx, email, device, tokens.Value)
}

func (c *Client) signedIn(ctx context.Context, email, device string, tokens openapi.Tokens) (ended SignIn, err error) {
	signIn := SignIn{UserID: tokens.UserID, Email: email, Device: device}
	signIn.take(tokens, c.clock.now())
	err = c.store.Update(ctx, func(held *Credentials) error {
		ended = held.SignIns[c.server]
		held.Server = c.server
		held.SignIns[c.server] = signIn
		held.keepDeviceToken(c.server, email, tokens.DeviceToken)
		return nil
	})
	if err != nil {
		return SignIn{}, err
	}
	c.keeper.remember(signIn)
	return ended, c.end(ctx, ended)
}

// end ends a sign-in on the server.
func (c *Client) end(ctx context.Context, signIn SignIn) error {
	if signIn.RefreshToken == "" {
		return nil
	}
	_, err := c.open.SignOutWithResponse(
		resend(ctx),
		openapi.Refresh{RefreshToken: signIn.RefreshToken, Device: signIn.Device},
	)
	return err
}

// SignOut ends the sign-in on the server and forgets it here. With forget it is forgotten here even
// when the server cannot be reached. It returns the sign-in that ended; having none is not an
// error.
func (c *Client) SignOut(ctx context.Context, forget bool) (ended SignIn, err error) {
	err = c.store.Update(ctx, func(held *Credentials) error {
		ended = held.SignIns[c.server]
		if err := c.end(ctx, ended); err != nil && !forget {
			return err
		}
		delete(held.SignIns, c.server)
		if held.Server == c.server {
			held.Server = ""
		}
		return nil
	})
	c.keeper.remember(SignIn{})
	return ended, err
}

// Me asks who is signed in, and in which squads.
func (c *Client) Me(ctx context.Context) (Answer[openapi.Me], error) {
	answer, err := c.api.GetMeWithResponse(ctx)
	if err != nil {
		return Answer[openapi.Me]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}
