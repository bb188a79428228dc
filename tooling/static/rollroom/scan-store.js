// What this device must not forget: every scan in the order it was taken, with the server's answer
// once there is one, and what the labels mean. Kept in IndexedDB; a scan is only called kept when the
// disk has it. A row is {sequence, id, url, person, scan, status, code, message, at}; its status is
// waiting → taken | refused → dismissed.
const NAME = "rollroom";
const SCHEMA = 1;
const LOG_KEPT = 5000;
// Written now and then to see whether there is room: much more than a scan needs, so that the device
// says it is full while what was taken is safe.
const PROBE_BYTES = 50_000;
const PROBE_GOOD_FOR_MS = 20000;
const PROBE = "room";
const BEFORE_PROBE = "q"; // everything that was learnt stands before

function asked(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

function ended(transaction) {
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error || new DOMException("aborted", "AbortError"));
  });
}

const all = (status) => IDBKeyRange.bound([status, 0], [status, Infinity]);

export class Store {
  isDurable = true;
  probed = -Infinity;

  // Opened again whenever it was closed: another tab with a newer version of the app may need it so.
  open() {
    this.opened ??= new Promise((resolve, reject) => {
      const request = indexedDB.open(NAME, SCHEMA);
      request.onupgradeneeded = () => {
        const scans = request.result.createObjectStore("scans", { keyPath: "sequence", autoIncrement: true });
        scans.createIndex("status", ["status", "sequence"]);
        scans.createIndex("id", "id", { unique: true });
        request.result.createObjectStore("known");
      };
      request.onsuccess = () => {
        const forget = () => (this.opened = null);
        request.result.onversionchange = () => { request.result.close(); forget(); };
        request.result.onclose = forget;
        resolve(request.result);
      };
      request.onerror = () => reject(request.error);
    });
    return this.opened.catch((error) => {
      this.opened = null;
      throw error;
    });
  }

  async begin(mode, names = ["scans"]) {
    // Strict: the answer comes when the disk has it, not when it is about to be given to the disk.
    const database = await this.open();
    return database.transaction(names, mode, { durability: mode === "readwrite" ? "strict" : "default" });
  }

  // Whether there is room for scans to come. What a browser estimates is not to be relied on.
  async hasRoom() {
    if (performance.now() - this.probed < PROBE_GOOD_FOR_MS) return true;
    const bytes = crypto.getRandomValues(new Uint8Array(PROBE_BYTES));
    const isRoom = await this.learn([[PROBE, bytes]], { anew: false }).then(() => true, () => false);
    this.probed = isRoom ? performance.now() : -Infinity;
    return isRoom;
  }

  // Raises QuotaExceededError where there is no room: then nothing was kept.
  async add(row) {
    const transaction = await this.begin("readwrite");
    const whole = ended(transaction);
    const sequence = await asked(transaction.objectStore("scans").add({ ...row, status: "waiting" })).catch((error) => {
      whole.catch(() => {});
      this.probed = -Infinity;
      throw error;
    });
    await whole.catch((error) => {
      this.probed = -Infinity;
      throw error;
    });
    return sequence;
  }

  async withStatus(status, most) {
    const transaction = await this.begin("readonly");
    return asked(transaction.objectStore("scans").index("status").getAll(all(status), most));
  }

  waiting(most) {
    return this.withStatus("waiting", most);
  }

  // The newest rows, newest first.
  async last(most) {
    const transaction = await this.begin("readonly");
    const rows = [];
    const request = transaction.objectStore("scans").openCursor(null, "prev");
    for (let cursor = await asked(request); cursor && rows.length < most; cursor = await asked(request)) {
      rows.push(cursor.value);
      cursor.continue();
    }
    return rows;
  }

  async count(status) {
    const transaction = await this.begin("readonly");
    return asked(transaction.objectStore("scans").index("status").count(all(status)));
  }

  async every() {
    const transaction = await this.begin("readonly");
    return asked(transaction.objectStore("scans").getAll());
  }

  // changes: Map of id → what is new about the row. All of it or nothing.
  async change(changes) {
    const transaction = await this.begin("readwrite");
    const whole = ended(transaction);
    const scans = transaction.objectStore("scans");
    for (const [id, news] of changes) {
      const row = await asked(scans.index("id").get(id));
      if (row) scans.put({ ...row, ...news });
    }
    await whole;
  }

  // Only what was answered long ago is let go; what waits or was refused never is.
  async trim() {
    const transaction = await this.begin("readwrite");
    const scans = transaction.objectStore("scans");
    const last = await asked(scans.openCursor(null, "prev"));
    if (!last || last.key <= LOG_KEPT) return;
    for (const status of ["taken", "dismissed"]) {
      const old = IDBKeyRange.bound([status, 0], [status, last.key - LOG_KEPT]);
      for (const key of await asked(scans.index("status").getAllKeys(old))) scans.delete(key);
    }
  }

  async knows(key) {
    const transaction = await this.begin("readonly", ["known"]);
    return asked(transaction.objectStore("known").get(key));
  }

  async everyKnown(from, to) {
    const transaction = await this.begin("readonly", ["known"]);
    return asked(transaction.objectStore("known").getAll(IDBKeyRange.bound(from, to)));
  }

  // The old goes and the new comes in one transaction; it need not be on disk at once.
  async learn(entries, { anew }) {
    const database = await this.open();
    const transaction = database.transaction(["known"], "readwrite");
    const whole = ended(transaction);
    const known = transaction.objectStore("known");
    if (anew) known.delete(IDBKeyRange.upperBound(BEFORE_PROBE));
    for (const [key, value] of entries) known.put(value, key);
    await whole;
  }
}

// Where the browser keeps nothing for this page (a private window, say): the same, until it is closed.
export class Memory {
  isDurable = false;
  rows = [];
  known = new Map();

  async hasRoom() {
    return true;
  }

  async add(row) {
    const sequence = this.rows.length + 1;
    this.rows.push({ ...row, sequence, status: "waiting" });
    return sequence;
  }

  async withStatus(status, most = Infinity) {
    return this.rows.filter((row) => row.status === status).slice(0, most);
  }

  waiting(most) {
    return this.withStatus("waiting", most);
  }

  async last(most) {
    return this.rows.slice(-most).reverse();
  }

  async count(status) {
    return (await this.withStatus(status)).length;
  }

  async every() {
    return this.rows;
  }

  async change(changes) {
    for (const row of this.rows) Object.assign(row, changes.get(row.id));
  }

  async trim() {}

  async knows(key) {
    return this.known.get(key);
  }

  async everyKnown(from, to) {
    return [...this.known].filter(([key]) => key >= from && key <= to).map(([, value]) => value);
  }

  async learn(entries, { anew }) {
    if (anew) this.known.clear();
    for (const [key, value] of entries) this.known.set(key, value);
  }
}

let chosen;

// One for the page. A browser that cannot keep anything says so by `isDurable`.
export function theStore() {
  chosen ??= (async () => {
    const store = new Store();
    try {
      await store.open();
      return store;
    } catch {
      return new Memory();
    }
  })();
  return chosen;
}
