// Who is signed in on this device. The refresh token is kept in IndexedDB. It is spent by its use,
// so the new one is stored before anything else happens, and when the answer is lost the same token
// is sent again, which the server answers with the same successor.

import { Problem, send } from "./api.js";
import { randomWord } from "./ids.js";
import { ask, openPeople, run } from "./store.js";

// SignedOut means that a password is needed before anything more can be sent. The unsent changes
// stay.
export class SignedOut extends Error {}

const spareMs = 30_000; // an access token this near its end is not used any more

// alone lets one page at a time do something, where the browser has locks.
const alone = (name, work) => navigator.locks ? navigator.locks.request(name, work) : work();

export class Account {
  static async open() {
    const account = new Account();
    account.db = await openPeople();
    account.device = await account.deviceName();
    account.person = await account.read();
    return account;
  }

  async deviceName() {
    return run(this.db, ["device"], "readwrite", async (tx) => {
      const store = tx.objectStore("device");
      const found = await ask(store.get("device"));
      if (found) return found.value;
      const value = `Logger ${randomWord()}`;
      await ask(store.put({ name: "device", value }));
      return value;
    });
  }

  // read finds who signed in last; null when no one did, or they signed out.
  async read() {
    return run(this.db, ["device", "people"], "readonly", async (tx) => {
      const current = await ask(tx.objectStore("device").get("current"));
      return current ? await ask(tx.objectStore("people").get(current.value)) ?? null : null;
    });
  }

  get signedIn() { return Boolean(this.person?.refresh_token); }

  async signIn(email, password) {
    // What the server gave this device at an earlier sign-in: others' guesses then do not hold this one up.
    const name = `token ${email.trim().toLowerCase()}`;
    const mark = await run(this.db, ["device"], "readonly", (tx) => ask(tx.objectStore("device").get(name)));
    const body = { email, password, device: this.device, ...(mark && { device_token: mark.value }) };
    const tokens = await send("POST", "/v1/tokens", { body });
    await run(this.db, ["device"], "readwrite", (tx) => ask(tx.objectStore("device").put({ name, value: tokens.device_token })));
    const replaced = this.person?.refresh_token;
    await alone("laneward tokens", () => this.keep({ user_id: tokens.user_id, email: email.trim(), ...held(tokens) }));
    if (replaced) await this.revoke(replaced);
  }

  // keep stores the person's tokens and makes them the page's user.
  async keep(person) {
    await run(this.db, ["device", "people"], "readwrite", async (tx) => {
      await ask(tx.objectStore("people").put(person));
      await ask(tx.objectStore("device").put({ name: "current", value: person.user_id }));
    });
    this.person = person;
  }

  // token is an access token that is valid for a while yet. fresh asks for a new one when the last
  // was refused.
  async token(refused = null) {
    return alone("laneward tokens", async () => {
      const person = await this.read();
      if (person?.user_id !== this.person?.user_id) throw new SignedOut("someone else has signed in on this device"); // in another page
      this.person = person;
      if (!person?.refresh_token) throw new SignedOut("sign in to send the changes kept here");
      if (person.access_token && person.access_token !== refused && person.access_until > Date.now() + spareMs) return person.access_token;
      try {
        const tokens = await send("POST", "/v1/tokens/refresh", { body: { refresh_token: person.refresh_token, device: this.device } });
        await this.keep({ ...person, ...held(tokens) });
        return tokens.access_token;
      } catch (error) {
        if (!(error instanceof Problem) || error.status !== 401) throw error; // the token is kept, to be sent again
        await this.keep({ ...person, refresh_token: null, access_token: null, access_until: 0 });
        throw new SignedOut(error.message);
      }
    });
  }

  // call sends a request as this person.
  async call(work) {
    const token = await this.token();
    try {
      return await work(token);
    } catch (error) {
      if (!(error instanceof Problem) || error.status !== 401) throw error;
      return work(await this.token(token));
    }
  }

  // signOut forgets the tokens. The sign-in on the server is ended too when it can be reached.
  async signOut() {
    const person = this.person;
    await run(this.db, ["device", "people"], "readwrite", async (tx) => {
      await ask(tx.objectStore("device").delete("current"));
      await ask(tx.objectStore("people").delete(person.user_id));
    });
    this.person = null;
    if (person.refresh_token) await this.revoke(person.refresh_token);
  }

  // revoke ends a sign-in on the server when it can be reached.
  async revoke(token) {
    try {
      await send("POST", "/v1/tokens/revoke", { body: { refresh_token: token, device: this.device } });
    } catch {
      // Out of reach: the token is gone from here and expires by itself.
    }
  }
}

const held = (tokens) => ({
  refresh_token: tokens.refresh_token, access_token: tokens.access_token, access_until: Date.now() + 1000 * tokens.expires_in,
});
