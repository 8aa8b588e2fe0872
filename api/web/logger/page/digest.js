// Digests summarise which records a copy holds in which versions: the contract's Digest says how.

const only64 = (x) => BigInt.asUintN(64, x);

function mix(x) {
  x = only64(x + 0x9e3779b97f4a7c15n);
  x = only64((x ^ x >> 30n) * 0xbf58476d1ce4e5b9n);
  x = only64((x ^ x >> 27n) * 0x94d049bb133111ebn);
  return x ^ x >> 31n;
}

function partOf({ id, rev }) {
  const digits = id.replaceAll("-", "");
  const [first, last] = [digits.slice(0, 16), digits.slice(16)].map((half) => BigInt(`0x${half}`));
  return mix(mix(mix(first) ^ last) ^ BigInt(rev));
}

// digestOf is the digest of records, given by their ids and revisions, as the contract writes it.
export function digestOf(records) {
  return { count: records.length, sum: String(only64(records.reduce((sum, record) => sum + partOf(record), 0n))) };
}

export const alike = (a, b) => a.count === b.count && a.sum === b.sum;
