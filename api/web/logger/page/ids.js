// Ids made on the device: UUID version 7 (RFC 9562), ascending within this page even when the clock
// stops or goes back.

let lastMs = 0, counter = 0;

export function newId() {
  const random = crypto.getRandomValues(new Uint8Array(10));
  const now = Date.now();
  if (now > lastMs) {
    lastMs = now;
    counter = (random[0] << 8 | random[1]) & 0x7ff; // room to count up within the millisecond
  } else if (++counter > 0xfff) {
    lastMs++;
    counter = 0;
  }
  const time = lastMs.toString(16).padStart(12, "0");
  const tail = [...random.subarray(2)];
  tail[0] = tail[0] & 0x3f | 0x80;
  const hex = tail.map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return `${time.slice(0, 8)}-${time.slice(8)}-7${counter.toString(16).padStart(3, "0")}-${hex.slice(0, 4)}-${hex.slice(4)}`;
}

// randomWord is a short unique word, for the name of a device.
export const randomWord = () => [...crypto.getRandomValues(new Uint8Array(5))].map((byte) => byte.toString(36).padStart(2, "0")).join("");
