// A Matrix client that shares nothing with ours: matrix-js-sdk with its Rust
// crypto. Each line in is a command as JSON, each line out its answer; the first
// line in says who it is. It ends with its input. All that the SDK logs goes to
// stderr.
import readline from "node:readline";

for (const name of ["log", "info", "debug", "trace", "warn"]) console[name] = console.error;
const sdk = await import("matrix-js-sdk");
const { OnlySignedDevicesIsolationMode } = await import("matrix-js-sdk/lib/crypto-api/index.js");

const seen = new Map(); // events by ID, in the order they came
let client;

async function until(what, seconds, cond) {
  for (const end = Date.now() + seconds * 1000; Date.now() < end; await new Promise((r) => setTimeout(r, 50))) {
    const value = await cond();
    if (value) return value;
  }
  throw new Error(`waited ${seconds} s in vain for ${what}`);
}

const commands = {
  async start({ url, user, token, device, onlySigned }) {
    client = sdk.createClient({ baseUrl: url, userId: user, accessToken: token, deviceId: device });
    client.on("event", (e) => {
      if (e.getRoomId() && e.getId() && !seen.has(e.getId())) seen.set(e.getId(), e);
    });
    await client.initRustCrypto({ useIndexedDB: false });
    if (onlySigned) client.getCrypto().setDeviceIsolationMode(new OnlySignedDevicesIsolationMode());
    await client.startClient({ initialSyncLimit: 50, threadSupport: true });
    await until("the first sync", 20, () => client.isInitialSyncComplete());
  },

  async join({ room }) {
    await until("an invitation", 20, () => client.getRoom(room));
    await client.joinRoom(room);
    await until("the room", 20, () => client.getRoom(room)?.getMyMembership() === "join");
    await client.getRoom(room).loadMembersIfNeeded();
  },

  async say({ room, root, body }) {
    const content = { msgtype: "m.text", body, "m.mentions": {} };
    if (root) {
      content["m.relates_to"] = { rel_type: "m.thread", event_id: root, is_falling_back: true, "m.in_reply_to": { event_id: root } };
    }
    return { id: (await client.sendEvent(room, "m.room.message", content)).event_id };
  },

  // read gives the messages of a room; those with an edit have its words.
  async read({ room }) {
    const messages = [];
    for (const e of seen.values()) {
      if (e.getRoomId() !== room || e.isState() || e.isRedacted() || e.isRelation("m.replace")) continue;
      await e.getDecryptionPromise();
      if (!["m.room.message", "m.room.encrypted"].includes(e.getType())) continue;
      const relation = e.getWireContent()["m.relates_to"] ?? e.getContent()["m.relates_to"];
      const readable = e.getType() === "m.room.message" && !e.isDecryptionFailure();
      messages.push({
        id: e.getId(),
        sender: e.getSender(),
        root: relation?.rel_type === "m.thread" ? relation.event_id : "",
        type: readable ? e.getContent().msgtype : "",
        body: readable ? e.getContent().body : "",
        html: readable ? e.getContent().formatted_body ?? "" : "",
        edited: Boolean(e.replacingEvent()),
        encrypted: e.isEncrypted(),
        error: readable ? "" : String(e.decryptionFailureReason ?? "not read yet"),
      });
    }
    return { messages };
  },
};

for await (const line of readline.createInterface({ input: process.stdin })) {
  let answer;
  try {
    const command = JSON.parse(line);
    answer = (await commands[command.do](command)) ?? {};
  } catch (err) {
    answer = { error: String(err?.stack ?? err) };
  }
  process.stdout.write(JSON.stringify(answer) + "\n");
}
client?.stopClient();
process.exit(0);
