// What waits on this phone: kept in IndexedDB from the first tap, sent once, thrown away only by hand.

const NAME = "sideoats-enter";
const STORES = { kept: "name", drafts: "id", queue: "id" };
const SENT_SHOWN = 20;
const MOST_WAIT_MS = 5 * 60 * 1000;
export const NO_SIGNAL = "no-signal"; // said in words by the page
let opened;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      for (const [store, keyPath] of Object.entries(STORES)) {
        if (!request.result.objectStoreNames.contains(store)) request.result.createObjectStore(store, { keyPath });
      }
    };
    request.onsuccess = () => {
      request.result.onversionchange = () => { request.result.close(); opened = undefined; };
      resolve(request.result);
    };
    request.onerror = () => { opened = undefined; reject(request.error); };
  });
  return opened;
}

async function run(store, mode, work) {
  const db = await open();
  return new Promise((resolve, reject) => {
    const transaction = db.transaction(store, mode, { durability: "strict" });
    const request = work(transaction.objectStore(store));
    transaction.oncomplete = () => resolve(request.result);
    transaction.onerror = transaction.onabort = () => reject(transaction.error);
  });
}

export const get = (store, key) => run(store, "readonly", (s) => s.get(key));
export const all = (store) => run(store, "readonly", (s) => s.getAll());
export const put = (store, value) => run(store, "readwrite", (s) => s.put(value));
export const remove = (store, key) => run(store, "readwrite", (s) => s.delete(key));

// An identifier that no other phone makes (UUID version 4).
export function mint() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 15) | 64;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return hex.replace(/(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

// The phone's own time with its offset from UTC.
export function localTime(when = new Date()) {
  const minutes = -when.getTimezoneOffset();
  const two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const local = new Date(when.getTime() + minutes * 60000).toISOString().slice(0, 19);
  return `${local}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
}

export async function enqueue(entry, title, who, version) {
  const record = {
    id: entry.id, who, title, entry, made_at: localTime(), zone: Intl.DateTimeFormat().resolvedOptions().timeZone,
    version, attempts: 0, state: "waits", line: "", next_at: 0,
  };
  await put("queue", record);
  return record;
}

// States: waits, sent, clash (another entry has its number), refused (the desk cannot use it).
function outcome(status) {
  if (status === 200 || status === 201) return "sent";
  if (status === 409) return "clash";
  if (status === 400 || status === 413 || status === 415 || status === 422) return "refused";
  return "waits";
}

async function send(record) {
  let status = 0;
  let line = NO_SIGNAL;
  try {
    const response = await fetch("/send/entry", {
      method: "POST", credentials: "same-origin", redirect: "error",
      headers: { "Content-Type": "application/json", Accept: "application/json" },
      body: JSON.stringify(record.entry),
    });
    status = response.status;
    line = (await response.json()).line ?? "";
  } catch { /* a lost answer is the same as a lost question: it is sent again */ }
  return { status, line };
}

// Send all that waits and belongs to `me`, in the order made. One page at a time does it.
export async function flush(me, { hurry = false } = {}) {
  const work = async () => {
    const now = Date.now();
    const waiting = (await all("queue")).filter((r) => r.state === "waits" && (r.who === me || !r.who || !me));
    waiting.sort((a, b) => (a.made_at < b.made_at ? -1 : 1));
    for (const record of waiting) {
      if (!hurry && record.next_at > now) continue;
      const { status, line } = await send(record);
      const latest = await get("queue", record.id);
      if (!latest || latest.state !== "waits") continue;
      latest.attempts += 1;
      latest.state = outcome(status);
      latest.line = latest.state === "sent" ? "" : line;
      latest.tried_at = localTime();
      latest.next_at = Date.now() + Math.min(MOST_WAIT_MS, 2000 * 2 ** Math.min(latest.attempts, 10));
      await put("queue", latest);
      if (latest.state === "sent") await put("kept", { name: "last sent", value: localTime() });
      if (status === 401 || status === 403) return "sign in";
      if (latest.state === "waits") return "no answer";
    }
    await tidy();
    return "done";
  };
  return navigator.locks ? navigator.locks.request("sideoats-flush", { ifAvailable: true }, (lock) => (lock ? work() : "busy")) : work();
}

async function tidy() {
  const sent = (await all("queue")).filter((r) => r.state === "sent").sort((a, b) => (a.tried_at < b.tried_at ? 1 : -1));
  for (const old of sent.slice(SENT_SHOWN)) await remove("queue", old.id);
}
