// Server-sent events read from a response (HTML Living Standard, section 9.2): the browser's own
// reader cannot send an Authorization header.

import { Offline } from "./api.js";

// events yields what arrives as batches of { id, name, data }. quiet is called when nothing has
// come for that long.
export async function* events(body, quiet, silenceMs) {
  const reader = body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "", id = "";
  let timer = setTimeout(quiet, silenceMs);
  try {
    for (;;) {
      const { value, done } = await reader.read().catch((error) => {
        throw new Offline("the tail was cut", { cause: error });
      });
      if (done) return;
      clearTimeout(timer);
      timer = setTimeout(quiet, silenceMs);
      const blocks = (rest + value).split(/\r\n\r\n|\n\n|\r\r/);
      rest = blocks.pop();
      const batch = [];
      for (const block of blocks) {
        const event = readEvent(block, id);
        id = event.id;
        if (event.data !== null) batch.push(event);
      }
      if (batch.length > 0) yield batch;
    }
  } finally {
    clearTimeout(timer);
    await reader.cancel().catch(() => {}); // it has ended already
  }
}

function readEvent(block, lastID) {
  const event = { id: lastID, name: "message", data: null };
  for (const line of block.split(/\r\n|\n|\r/)) {
    const [, field, value] = /^([^:]*):? ?(.*)$/s.exec(line);
    if (field === "id") event.id = value;
    else if (field === "event") event.name = value;
    else if (field === "data") event.data = event.data === null ? value : `${event.data}\n${value}`;
  }
  return event;
}
