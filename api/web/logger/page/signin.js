// Signing in with a password. What the same person has not sent is kept.

import { Offline, Problem } from "./api.js";
import { field, h } from "./dom.js";

export function signInView(app) {
  const known = app.account.person;
  const email = h("input", { type: "email", id: "email", autocomplete: "username", required: true, value: known?.email ?? "" });
  const password = h("input", { type: "password", id: "password", autocomplete: "current-password", required: true });
  const fault = h("p", { class: "fault", role: "alert" });
  const button = h("button", { type: "submit" }, "Sign in");
  const submit = async (event) => {
    event.preventDefault();
    button.disabled = true;
    fault.textContent = "";
    try {
      await app.account.signIn(email.value, password.value);
      await app.enter();
      app.go(known?.user_id === app.account.person.user_id ? "log" : "start");
    } catch (error) {
      if (!(error instanceof Offline) && !(error instanceof Problem)) throw error;
      fault.textContent = error instanceof Offline ? "You are offline, and signing in needs a network. Try again when you are online." : sentence(error.message);
    } finally {
      button.disabled = false;
    }
  };
  const element = h("div", { class: "wrap narrow" }, h("form", { class: "card", onsubmit: submit },
    h("h1", {}, known ? "Sign in again" : "Log shots at the lanes"),
    h("p", { class: "soft" }, known
      ? "Shots you logged but haven't sent stay on this device and are sent once you sign in."
      : "Sign in once while online. After that the logger works offline and sends your shots when the network is back."),
    field("Email address", email), field("Password", password), fault, button));
  return { element, shown: () => known && password.focus() };
}

const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1) + (text.endsWith(".") ? "" : ".");
