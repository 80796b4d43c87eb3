// Speaks to a YAML language server as an editor does, about a knowledge base with schemas in it: a sound file is marked
// nowhere, a broken one at its faults, keys and words are completed, a key is explained.
//
//   npm install --prefix DIR yaml-language-server
//   doldrum new BASE
//   node tests/editor/language-server.mjs DIR BASE
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { readFileSync } from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [installed, base] = process.argv.slice(2);
const program = path.join(installed, "node_modules/yaml-language-server/bin/yaml-language-server");
const server = spawn("node", [program, "--stdio"], { stdio: ["pipe", "pipe", "inherit"] });
const waiting = new Map();
const marked = new Map();
let bytes = Buffer.alloc(0);
let asked = 0;

server.stdout.on("data", (more) => {
  bytes = Buffer.concat([bytes, more]);
  for (;;) {
    const head = bytes.indexOf("\r\n\r\n");
    if (head < 0) return;
    const length = Number(/Content-Length: (\d+)/i.exec(bytes.subarray(0, head).toString())[1]);
    if (bytes.length < head + 4 + length) return;
    const message = JSON.parse(bytes.subarray(head + 4, head + 4 + length));
    bytes = bytes.subarray(head + 4 + length);
    hear(message);
  }
});

function hear(message) {
  if (message.method && message.id !== undefined) {
    const items = message.method === "workspace/configuration" ? message.params.items.map(() => ({})) : null;
    send({ id: message.id, result: items });
  } else if (message.id !== undefined) {
    waiting.get(message.id)?.(message.result);
  } else if (message.method === "textDocument/publishDiagnostics") {
    marked.set(message.params.uri, message.params.diagnostics);
  }
}

function send(message) {
  const text = JSON.stringify({ jsonrpc: "2.0", ...message });
  server.stdin.write(`Content-Length: ${Buffer.byteLength(text)}\r\n\r\n${text}`);
}

function ask(method, params) {
  const id = ++asked;
  send({ id, method, params });
  return new Promise((answer) => waiting.set(id, answer));
}

const rootUri = pathToFileURL(path.resolve(base)).href;
await ask("initialize", {
  processId: process.pid,
  rootUri,
  workspaceFolders: [{ uri: rootUri, name: "base" }],
  capabilities: { workspace: { configuration: true }, textDocument: { publishDiagnostics: {}, completion: {}, hover: {} } },
});
send({ method: "initialized", params: {} });
const settings = { yaml: { validate: true, completion: true, hover: true, schemaStore: { enable: false } } };
send({ method: "workspace/didChangeConfiguration", params: { settings } });

/** What is marked in a text under the name of a file: line and message. */
async function marks(file, text) {
  const uri = pathToFileURL(path.resolve(base, `${++asked}-${file}`)).href;
  send({ method: "textDocument/didOpen", params: { textDocument: { uri, languageId: "yaml", version: 1, text } } });
  await new Promise((done) => setTimeout(done, 2000));
  const found = marked.get(uri) ?? [];
  return { uri, found: found.map((mark) => `${mark.range.start.line + 1}: ${mark.message}`) };
}

async function completions(file, text) {
  const { uri } = await marks(file, text);
  const lines = text.split("\n");
  const position = { line: lines.length - 1, character: lines.at(-1).length };
  const list = await ask("textDocument/completion", { textDocument: { uri }, position });
  return (list.items ?? list).map((item) => item.label);
}

const read = (file) => readFileSync(path.join(base, file), "utf8");
for (const file of ["craft", "causes", "effects", "symptoms", "checks", "access", "hazards", "repairs"]) {
  assert.deepEqual((await marks(`${file}.yaml`, read(`${file}.yaml`))).found, [], `${file}.yaml is marked`);
}
const causes = read("causes.yaml");
const broken = (await marks("causes.yaml", `${causes}\n- id: broken\n  titel: Misspelt\n  rate: often\n  basis: hearsay\n`)).found;
for (const word of ["titel", "title", "number", "common-practice"]) {
  assert(broken.some((mark) => mark.includes(word)), `nothing about ${word}: ${broken.join("; ")}`);
}
const keys = await completions("causes.yaml", `# yaml-language-server: $schema=schema/knowledge/causes.json\n- id: unfinished\n  `);
for (const key of ["title", "rate", "likelier", "basis"]) assert(keys.includes(key), `${key} is not offered: ${keys}`);
const words = await completions("causes.yaml", `${causes}\n- id: unfinished\n  title: T\n  basis: `);
assert(words.includes("estimate") && words.includes("common-practice"), `offered: ${words}`);
const { uri } = await marks("causes.yaml", causes);
const line = causes.split("\n").findIndex((text) => text.includes("rate:"));
const hover = await ask("textDocument/hover", { textDocument: { uri }, position: { line, character: 3 } });
assert(JSON.stringify(hover).includes("Findings per 1000 jobs"), JSON.stringify(hover));
console.log(`marked: ${broken.join("; ")}\nkeys: ${keys.join(" ")}\nwords: ${words.join(" ")}`);
server.kill();
process.exit(0);
