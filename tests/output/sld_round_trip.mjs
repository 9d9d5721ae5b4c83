// Reads styles with Jsonix by mappings made from the OGC's own schemas and writes them again in the schema's order:
// what the schema does not know is lost on the way, what stands in another order is moved.
// Arguments: folder with node_modules, then FILE@VERSION; prints one JSON object, file to what was written.
import { createRequire } from 'module';
import fs from 'fs';

const load = createRequire(process.argv[2] + '/');
const { Jsonix } = load('jsonix');
const mappings = { ...load('w3c-schemas'), ...load('ogc-schemas') };

function withNeeded(name, found = new Map()) {
  const own = mappings[name];
  if (own && !found.has(name)) {
    found.set(name, own);
    (own.deps || own.dependencies || []).forEach(needed => withNeeded(needed, found));
  }
  return found;
}

const written = {};
for (const argument of process.argv.slice(3)) {
  const at = argument.lastIndexOf('@');
  const [file, version] = [argument.slice(0, at), argument.slice(at + 1)];
  const context = new Jsonix.Context([...withNeeded('SLD_' + version.replace(/\./g, '_')).values()]);
  const read = context.createUnmarshaller().unmarshalString(fs.readFileSync(file, 'utf-8'));
  written[file] = context.createMarshaller().marshalString(read);
}
console.log(JSON.stringify(written));
