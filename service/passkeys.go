package service

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/netip"
	"net/url"
	"strings"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"
	"github.com/google/uuid"

	"laneward/db"
)

// Passkeys (W3C Web Authentication, level 3) stand beside passwords. A passkey belongs to the name
// that the server is reached by, so there are none where that is not known: it is configured, or
// the server is reached as http://localhost.
const (
	ceremonyTTL  = 5 * time.Minute
	mostPasskeys = 20
	// freeCeremonies is how many sign-ins with a passkey one network may begin in an hour for
	// nothing: each is a row.
	freeCeremonies = 200
)

var (
	errPasskeysOff = fail(
		Conflict,
		"passkeys are off here: they belong to the name that the server is reached by, and no https name is configured (--public-url)",
	)
	errPasskey = fail(
		Unauthenticated,
		"this passkey is not known here, or the sign-in took too long: try again, or sign in with your password",
	)
	errPasskeyAnswer = fail(Invalid, "the passkey was not made for this request, or it took too long: begin again")
)

// Passkey is a public key by which a user signs in. LastUsed is nil before the first time.
type Passkey struct {
	ID       uuid.UUID
	Name     string
	Made     time.Time
	LastUsed *time.Time
}

// Ceremony is a registration or a sign-in that has begun, and what the browser is to be given.
type Ceremony struct {
	ID      uuid.UUID
	Options json.RawMessage
}

// PasskeysOff says why there are no passkeys for whoever reaches the server at an origin such as
// https://lanes.example.org; nil when there are.
func (s *Service) PasskeysOff(origin string) error {
	_, err := s.relyingParty(origin)
	return err
}

// relyingParty checks passkeys for the configured name, or for localhost where the request came from
// there.
func (s *Service) relyingParty(origin string) (*webauthn.WebAuthn, error) {
	if s.publicURL != "" {
		origin = s.publicURL
	}
	address, err := url.Parse(origin)
	if err != nil || !namesSite(address, s.publicURL != "") {
		return nil, errPasskeysOff
	}
	required := true
	made, err := webauthn.New(&webauthn.Config{
		RPID:                  address.Hostname(),
		RPDisplayName:         "Laneward",
		RPOrigins:             []string{address.Scheme + "://" + address.Host},
		AttestationPreference: protocol.PreferNoAttestation,
		AuthenticatorSelection: protocol.AuthenticatorSelection{
			RequireResidentKey: &required, // so that no address has to be typed
			ResidentKey:        protocol.ResidentKeyRequirementRequired,
			UserVerification:   protocol.VerificationRequired, // so that it is two factors
		},
	})
	if err != nil {
		return nil, fmt.Errorf("passkeys at %s: %w", origin, err)
	}
	return made, nil
}

// namesSite reports whether passkeys can belong to an address: browsers want a name, and TLS but on
// the own machine. An address that was not configured is whatever the request says it is.
func namesSite(address *url.URL, configured bool) bool {
	host := address.Hostname()
	if host == "localhost" {
		return true
	}
	_, notName := netip.ParseAddr(host)
	return configured && address.Scheme == "https" && host != "" && notName != nil
}

// keyholder is a user as the library asks for one.
type keyholder struct {
	db.User
	credentials []webauthn.Credential
}

func (k *keyholder) WebAuthnID() []byte                         { return k.ID[:] }
func (k *keyholder) WebAuthnName() string                       { return k.Email }
func (k *keyholder) WebAuthnDisplayName() string                { return k.Name }
func (k *keyholder) WebAuthnCredentials() []webauthn.Credential { return k.credentials }

// keyholderOf reads a user with their passkeys.
func keyholderOf(ctx context.Context, tx *db.Tx, id uuid.UUID) (*keyholder, error) {
	user, err := tx.UserByID(ctx, db.UserByIDParams{ID: id})
	if err != nil {
		return nil, err
	}
	rows, err := tx.PasskeysOf(ctx, db.PasskeysOfParams{UserID: id})
	if err != nil {
		return nil, err
	}
	holder := &keyholder{User: user, credentials: make([]webauthn.Credential, len(rows))}
	for i, row := range rows {
		if err := json.Unmarshal(row.Credential, &holder.credentials[i]); err != nil {
			return nil, fmt.Errorf("read passkey %s: %w", row.ID, err)
		}
	}
	return holder, nil
}

// Passkeys lists a user's passkeys, the oldest first.
func (s *Service) Passkeys(ctx context.Context, user uuid.UUID) (list []Passkey, err error) {
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		rows, err := tx.PasskeysOf(ctx, db.PasskeysOfParams{UserID: user})
		list = make([]Passkey, len(rows))
		for i, row := range rows {
			list[i] = Passkey{row.ID, row.Name, row.CreatedAt, row.LastUsedAt}
		}
		return err
	})
	return list, err
}

// RemovePasskey removes one of a user's passkeys.
func (s *Service) RemovePasskey(ctx context.Context, user, id uuid.UUID) error {
	return s.db.Global(ctx, func(tx *db.Tx) error {
		n, err := tx.DeletePasskey(ctx, db.DeletePasskeyParams{UserID: user, ID: id})
		if err == nil && n == 0 {
			return fail(NotFound, "you have no such passkey")
		}
		return err
	})
}

// BeginPasskey begins to add a passkey for a user who confirms with their password.
func (s *Service) BeginPasskey(ctx context.Context, id uuid.UUID, password, origin string) (begun Ceremony, err error) {
	party, err := s.relyingParty(origin)
	if err != nil {
		return begun, err
	}
	user, err := s.account(ctx, id)
	if err != nil {
		return begun, err
	}
	if err := s.confirm(ctx, user, password, "/password", s.clock()); err != nil {
		return begun, err
	}
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		holder, err := keyholderOf(ctx, tx, id)
		if err != nil {
			return err
		}
		has := webauthn.Credentials(holder.credentials).CredentialDescriptors()
		options, session, err := party.BeginRegistration(holder, webauthn.WithExclusions(has))
		if err != nil {
			return fmt.Errorf("begin to add a passkey: %w", err)
		}
		begun, err = s.keepCeremony(ctx, tx, &id, options, session)
		return err
	})
	return begun, err
}

// keepCeremony stores what a ceremony is to be checked against, until the browser answers.
func (s *Service) keepCeremony(
	ctx context.Context,
	tx *db.Tx,
	user *uuid.UUID,
	options any,
	session *webauthn.SessionData,
) (begun Ceremony, err error) {
	begun.ID = newID()
	if begun.Options, err = json.Marshal(options); err != nil {
		return begun, fmt.Errorf("write the options of a passkey: %w", err)
	}
	data, err := json.Marshal(session)
	if err != nil {
		return begun, fmt.Errorf("keep a passkey's challenge: %w", err)
	}
	return begun, tx.AddCeremony(ctx, db.AddCeremonyParams{
		ID: begun.ID, UserID: user, Data: data, ExpiresAt: s.clock().Add(ceremonyTTL),
	})
}

// takeCeremony spends a challenge, whatever becomes of it: it is committed before the answer is
// looked at. spent is what a missing one fails with.
func (s *Service) takeCeremony(
	ctx context.Context,
	id uuid.UUID,
	user *uuid.UUID,
	spent error,
) (session webauthn.SessionData, err error) {
	now := s.clock()
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		data, err := tx.TakeCeremony(ctx, db.TakeCeremonyParams{ID: id, Now: now, UserID: user})
		if err = db.Translate(err); errors.Is(err, db.ErrNotFound) {
			return spent
		}
		if err != nil {
			return err
		}
		return json.Unmarshal(data, &session)
	})
	return session, err
}

// NewPasskey is the browser's answer to [Service.BeginPasskey].
type NewPasskey struct {
	Ceremony   uuid.UUID
	Name       string
	Credential []byte // PublicKeyCredential in its JSON form
}

// AddPasskey adds a passkey to a user.
func (s *Service) AddPasskey(
	ctx context.Context,
	user uuid.UUID,
	made NewPasskey,
	origin string,
) (added Passkey, err error) {
	party, err := s.relyingParty(origin)
	if err != nil {
		return added, err
	}
	session, err := s.takeCeremony(ctx, made.Ceremony, &user, errPasskeyAnswer)
	if err != nil {
		return added, err
	}
	answer, err := protocol.ParseCredentialCreationResponseBytes(made.Credential)
	if err != nil {
		return added, &Error{Code: Invalid, Detail: errPasskeyAnswer.Detail, cause: err}
	}
	now := s.clock()
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		if _, err := tx.LockUser(ctx, db.LockUserParams{ID: user}); err != nil {
			return err
		}
		holder, err := keyholderOf(ctx, tx, user)
		if err != nil {
			return err
		}
		if len(holder.credentials) >= mostPasskeys {
			return fail(Conflict, "you have %d passkeys already: remove one first", mostPasskeys)
		}
		credential, err := party.CreateCredential(holder, session, answer)
		if err != nil {
			return &Error{Code: Invalid, Detail: errPasskeyAnswer.Detail, cause: err}
		}
		data, err := json.Marshal(credential)
		if err != nil {
			return fmt.Errorf("keep a passkey: %w", err)
		}
		added = Passkey{ID: newID(), Name: strings.TrimSpace(made.Name), Made: now}
		return tx.AddPasskey(ctx, db.AddPasskeyParams{
			ID: added.ID, UserID: user, CredentialID: credential.ID, Credential: data, Name: added.Name, CreatedAt: now,
		})
	})
	var taken *db.ConstraintError
	if errors.As(err, &taken) && taken.Constraint == "passkeys_credential" {
		err = fail(Conflict, "this passkey has been added before")
	}
	return added, err
}

// BeginPasskeySignIn begins to sign in with a passkey, whoever it is.
func (s *Service) BeginPasskeySignIn(ctx context.Context, origin string, from netip.Addr) (begun Ceremony, err error) {
	party, err := s.relyingParty(origin)
	if err != nil {
		return begun, err
	}
	one := counter{"passkey:" + network(from), freeCeremonies, maxNetworkWait}
	if err := s.count(ctx, s.clock(), "sign-ins from your network", one); err != nil {
		return begun, err
	}
	options, session, err := party.BeginDiscoverableLogin()
	if err != nil {
		return begun, fmt.Errorf("begin to sign in with a passkey: %w", err)
	}
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		begun, err = s.keepCeremony(ctx, tx, nil, options, session)
		return err
	})
	return begun, err
}

// SignInWithPasskey signs in by the browser's answer to [Service.BeginPasskeySignIn].
func (s *Service) SignInWithPasskey(
	ctx context.Context,
	ceremony uuid.UUID,
	credential []byte,
	device, origin string,
) (tokens Tokens, err error) {
	party, err := s.relyingParty(origin)
	if err != nil {
		return tokens, err
	}
	session, err := s.takeCeremony(ctx, ceremony, nil, errPasskey)
	if err != nil {
		return tokens, err
	}
	answer, err := protocol.ParseCredentialRequestResponseBytes(credential)
	if err != nil {
		return tokens, &Error{Code: Unauthenticated, Detail: errPasskey.Detail, cause: err}
	}
	now := s.clock()
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		id, err := uuid.FromBytes(answer.Response.UserHandle)
		if err != nil {
			return &Error{Code: Unauthenticated, Detail: errPasskey.Detail, cause: err}
		}
		if _, err := tx.LockUser(ctx, db.LockUserParams{ID: id}); err != nil { // one use at a time: it counts
			return unknownPasskey(err)
		}
		holder, err := keyholderOf(ctx, tx, id)
		if err != nil {
			return unknownPasskey(err)
		}
		found := func(_, handle []byte) (webauthn.User, error) {
			if !bytes.Equal(handle, holder.ID[:]) {
				return nil, errPasskey
			}
			return holder, nil
		}
		_, used, err := party.ValidatePasskeyLogin(found, session, answer)
		if err == nil && used.Authenticator.CloneWarning {
			err = errors.New("its counter went back: it may have been copied")
		}
		if err != nil {
			return &Error{Code: Unauthenticated, Detail: errPasskey.Detail, cause: err}
		}
		data, err := json.Marshal(used)
		if err != nil {
			return fmt.Errorf("keep a passkey: %w", err)
		}
		row := db.UsePasskeyParams{UserID: id, CredentialID: used.ID, Credential: data, UsedAt: &now}
		if err := tx.UsePasskey(ctx, row); err != nil {
			return err
		}
		tokens, err = s.startFamily(ctx, tx, id, device, now)
		return err
	})
	return tokens, err
}

// unknownPasskey is a missing user in the words of a sign-in; any other error stays as it is.
func unknownPasskey(err error) error {
	if err = db.Translate(err); errors.Is(err, db.ErrNotFound) {
		return &Error{Code: Unauthenticated, Detail: errPasskey.Detail, cause: err}
	}
	return err
}
