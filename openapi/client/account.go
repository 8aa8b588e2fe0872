package client

import (
	"context"
	"iter"
	"net/http"

	"github.com/google/uuid"

	"laneward/openapi"
)

// ChangePassword sets a new password; the other sign-ins of the user end.
func (c *Client) ChangePassword(ctx context.Context, current, wanted string) error {
	_, err := c.api.ChangePasswordWithResponse(
		ctx,
		openapi.PasswordChange{CurrentPassword: current, NewPassword: wanted},
	)
	return err
}

// ResetPassword sets a new password with a code, and signs the user in on this device. It returns
// the sign-in to the same server that it replaced, if any.
func (c *Client) ResetPassword(ctx context.Context, email, code, wanted string) (ended SignIn, err error) {
	device := deviceName()
	answer, err := c.open.ResetPasswordWithResponse(
		ctx,
		openapi.PasswordReset{Email: email, Code: code, NewPassword: wanted, Device: device},
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

// SignIns lists where the user is signed in.
func (c *Client) SignIns(ctx context.Context) (Answer[openapi.SignInList], error) {
	answer, err := c.api.ListSignInsWithResponse(ctx)
	if err != nil {
		return Answer[openapi.SignInList]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// EndSignIn ends one of the user's sign-ins.
func (c *Client) EndSignIn(ctx context.Context, id uuid.UUID) error {
	_, err := c.api.EndSignInWithResponse(ctx, id)
	return err
}

// EndSignIns signs the user out everywhere, here too.
func (c *Client) EndSignIns(ctx context.Context) error {
	if _, err := c.api.EndSignInsWithResponse(ctx); err != nil {
		return err
	}
	return c.forget(ctx)
}

// DeleteAccount deletes the user's account, and forgets the sign-in here.
func (c *Client) DeleteAccount(ctx context.Context, password string) error {
	if _, err := c.api.DeleteAccountWithResponse(ctx, openapi.PasswordConfirmation{Password: password}); err != nil {
		return err
	}
	return c.forget(ctx)
}

// forget forgets a sign-in that has ended on the server. Whose it was stays, for the unsent changes.
func (c *Client) forget(ctx context.Context) error {
	c.keeper.remember(SignIn{})
	return c.store.Update(ctx, func(held *Credentials) error {
		signIn := held.SignIns[c.server]
		signIn.AccessToken, signIn.RefreshToken = "", ""
		held.SignIns[c.server] = signIn
		return nil
	})
}

// RecoveryCodesLeft reports how many recovery codes are left.
func (c *Client) RecoveryCodesLeft(ctx context.Context) (Answer[openapi.RecoveryCodesLeft], error) {
	answer, err := c.api.GetRecoveryCodesWithResponse(ctx)
	if err != nil {
		return Answer[openapi.RecoveryCodesLeft]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// MakeRecoveryCodes makes ten recovery codes in place of the earlier ones.
func (c *Client) MakeRecoveryCodes(ctx context.Context, password string) (Answer[openapi.RecoveryCodes], error) {
	answer, err := c.api.CreateRecoveryCodesWithResponse(ctx, openapi.PasswordConfirmation{Password: password})
	if err != nil {
		return Answer[openapi.RecoveryCodes]{}, err
	}
	return answerOf(answer.JSON201, answer.Body, answer.HTTPResponse)
}

// Passkeys lists the user's passkeys, which are added in a browser.
func (c *Client) Passkeys(ctx context.Context) (Answer[openapi.PasskeyList], error) {
	answer, err := c.api.ListPasskeysWithResponse(ctx)
	if err != nil {
		return Answer[openapi.PasskeyList]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// RemovePasskey removes one of the user's passkeys.
func (c *Client) RemovePasskey(ctx context.Context, id uuid.UUID) error {
	_, err := c.api.RemovePasskeyWithResponse(ctx, id)
	return err
}

// MakeResetCode makes a code for a member who cannot sign in.
func (c *Client) MakeResetCode(ctx context.Context, squad, member uuid.UUID) (Answer[openapi.ResetCode], error) {
	answer, err := c.api.CreateResetCodeWithResponse(ctx, squad, member)
	if err != nil {
		return Answer[openapi.ResetCode]{}, err
	}
	return answerOf(answer.JSON201, answer.Body, answer.HTTPResponse)
}

// Audit reads a squad's audit log, the newest first.
func (c *Client) Audit(ctx context.Context, squad uuid.UUID) iter.Seq2[Answer[openapi.AuditEntry], error] {
	return items[openapi.AuditEntry](func(limit *int, cursor *string) (*http.Response, error) {
		return c.api.ListAudit(ctx, squad, &openapi.ListAuditParams{Limit: limit, Cursor: cursor})
	})
}
