// Type-checks Flux texts with the checker of @influxdata/flux-lsp-browser (npm, MIT): node flux_check.mjs PACKAGE_FOLDER
// Standard input: a JSON list of texts. Standard output: a JSON list of true and false.
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';

const folder = process.argv[2];
let glue = readFileSync(join(folder, 'flux-lsp-browser_bg.js'), 'utf8');
glue = glue.replace(/^import \* as wasm.*$/m, 'let wasm;').replace(/\(0, module\.require\)\('util'\)/g, 'globalThis');
glue = glue.replace(/^let (cached\w+Memory0)(?: = new .*)?;$/gm, 'let $1 = new Uint8Array(0);');
glue = glue.replace(/^cached\w+Memory0 = new .*;$/gm, '');
glue += '\nexport function __start(exports) { wasm = exports;'
  + ' cachedUint8Memory0 = new Uint8Array(wasm.memory.buffer); cachedInt32Memory0 = new Int32Array(wasm.memory.buffer); }\n';
const path = join(folder, 'checker.mjs');
writeFileSync(path, glue);
const checker = await import(pathToFileURL(path));
const binary = readFileSync(join(folder, 'flux-lsp-browser_bg.wasm'));
const { instance } = await WebAssembly.instantiate(binary, { './flux-lsp-browser_bg.js': checker });
checker.__start(instance.exports);
const texts = JSON.parse(readFileSync(0, 'utf8'));
process.stdout.write(JSON.stringify(texts.map((text) => checker.is_valid_flux(text))));
