// Requests to the server. An answer that does not come, or is incomplete, is Offline: what was sent
// may have arrived or not.

export class Offline extends Error {}

// Problem is a refusal of the server (RFC 9457).
export class Problem extends Error {
  constructor(status, body, retryAfter) {
    super(body.detail ?? `the server answered ${status}`);
    this.status = status;
    this.code = (body.type ?? "").split("#")[1] ?? "";
    this.errors = body.errors ?? [];
    this.reason = body.reason ?? "";
    this.retryAfterMs = retryAfter ? 1000 * Number(retryAfter) || 0 : 0;
  }
}

export const schema = 3; // the version of the records this page understands
const patienceMs = 45_000;

export const squadPath = (squad, what, query = {}) => {
  const params = new URLSearchParams({ schema });
  for (const [name, value] of Object.entries(query)) if (value !== undefined && value !== null && value !== "") params.set(name, value);
  return `/v1/squads/${squad}/${what}?${params}`;
};

// send makes a request and returns the answer's JSON; it throws Offline or a Problem.
export async function send(method, path, { body, type, token, signal, accept } = {}) {
  const limit = AbortSignal.timeout(patienceMs);
  const response = await reach(method, path, { body, type, token, accept, signal: signal ? AbortSignal.any([signal, limit]) : limit });
  return readAnswer(response);
}

// open makes a request for a stream and returns the response.
export async function open(path, { token, signal, accept }) {
  const response = await reach("GET", path, { token, signal, accept });
  if (!response.ok) await readAnswer(response);
  return response;
}

async function reach(method, path, { body, type = "application/json", token, signal, accept = "application/json" }) {
  const headers = { Accept: accept };
  if (token) headers.Authorization = `Bearer ${token}`;
  let content;
  if (body !== undefined) {
    headers["Content-Type"] = type;
    content = JSON.stringify(body);
    if (content.length >= worthPacking && self.CompressionStream) {
      headers["Content-Encoding"] = "gzip";
      content = await packed(content);
    }
  }
  try {
    return await fetch(path, { method, headers, signal, body: content, cache: "no-store", credentials: "omit" });
  } catch (error) {
    throw new Offline("the server does not answer", { cause: error });
  }
}

const worthPacking = 1000; // characters

const packed = (text) => new Response(new Blob([text]).stream().pipeThrough(new CompressionStream("gzip"))).blob();

async function readAnswer(response) {
  let text;
  try {
    text = await response.text();
  } catch (error) {
    throw new Offline("the server's answer was cut off", { cause: error });
  }
  if (response.ok && text === "") return null;
  let body;
  try {
    body = JSON.parse(text);
  } catch (error) {
    if (response.ok) throw new Offline("the server's answer was cut off", { cause: error });
    body = {};
  }
  if (!response.ok) throw new Problem(response.status, body, response.headers.get("Retry-After"));
  return body;
}
