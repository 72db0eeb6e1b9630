// What waits on this tablet, in the browser's own database: it outlives reload, crash and sign-out. Each entry
// belongs to the person who typed it; "order" is the order in which things were typed.

const NAME = "layshaft-bench";
const STORE = "waiting";
let opened = null;

function open() {
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      const store = asked.result.createObjectStore(STORE, { keyPath: "order", autoIncrement: true });
      store.createIndex("owner", "owner");
      store.createIndex("id", "id", { unique: true });
    };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  return opened;
}

// Done only when the browser says that it is written.
async function write(act) {
  const base = await open();
  return new Promise((done, failed) => {
    const work = base.transaction(STORE, "readwrite", { durability: "strict" });
    act(work.objectStore(STORE));
    work.oncomplete = () => done();
    work.onabort = work.onerror = () => failed(work.error);
  });
}

export const add = (entry) => write((store) => store.add(entry));
export const put = (entry) => write((store) => store.put(entry));
export const remove = (order) => write((store) => store.delete(order));

export async function ofOwner(owner) {
  const base = await open();
  return new Promise((done, failed) => {
    const asked = base.transaction(STORE).objectStore(STORE).index("owner").getAll(owner);
    asked.onsuccess = () => done(asked.result.sort((one, other) => one.order - other.order));
    asked.onerror = () => failed(asked.error);
  });
}
