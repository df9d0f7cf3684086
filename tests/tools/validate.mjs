// Prints every issue that Khronos' glTF validator finds in the files given: [{ file, issues: [{ severity, code, ... }] }].
import { readFile } from 'node:fs/promises';
import validator from '../.tools/node_modules/gltf-validator/index.js';

const reports = [];
for (const file of process.argv.slice(2)) {
  const bytes = new Uint8Array(await readFile(file));
  // No limit on the number of issues: the first hundred could hide the one that counts.
  const report = await validator.validateBytes(bytes, { maxIssues: 0 });
  reports.push({ file, issues: report.issues.messages, truncated: report.issues.truncated });
}
process.stdout.write(JSON.stringify(reports));
