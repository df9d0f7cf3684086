// Holds the tangents of a GLB's primitives against those that three.js' port of MikkTSpace makes of the same corners.
// Prints a list: for each primitive with tangents its corners, the largest angle between the two (degrees), and how many
// hands differ.
import { readFile } from 'node:fs/promises';
import { generateTangents } from '../.tools/node_modules/three/examples/jsm/libs/mikktspace.module.js';

const bytes = await readFile(process.argv[2]);
const length = bytes.readUInt32LE(12);
const gltf = JSON.parse(bytes.subarray(20, 20 + length));
const binary = bytes.subarray(28 + length);

// Components as numbers; accessors of our own files lie without gaps
const read = (index) => {
  const accessor = gltf.accessors[index];
  const from = gltf.bufferViews[accessor.bufferView].byteOffset ?? 0;
  const wide = { SCALAR: 1, VEC2: 2, VEC3: 3, VEC4: 4 }[accessor.type];
  const number = {
    5123: (i) => binary.readUInt16LE(from + 2 * i),
    5125: (i) => binary.readUInt32LE(from + 4 * i),
    5126: (i) => binary.readFloatLE(from + 4 * i),
  }[accessor.componentType];
  return { wide, values: Array.from({ length: accessor.count * wide }, (_, i) => number(i)) };
};
const cornersOf = ({ wide, values }, indices) =>
  Float32Array.from(indices.flatMap((i) => values.slice(wide * i, wide * i + wide)));

const found = [];
for (const { attributes, indices } of gltf.meshes.flatMap((mesh) => mesh.primitives)) {
  if (attributes.TANGENT === undefined) continue;
  const list = read(indices).values;
  const [positions, normals, uvs, ours] = ['POSITION', 'NORMAL', 'TEXCOORD_0', 'TANGENT'].map((name) =>
    cornersOf(read(attributes[name]), list));
  const theirs = generateTangents(positions, normals, uvs);
  let [degrees, hands] = [0, 0];
  for (let i = 0; i < list.length; i += 1) {
    const [a, b] = [ours, theirs].map((t) => t.subarray(4 * i, 4 * i + 4));
    const cosine = a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    degrees = Math.max(degrees, (Math.acos(Math.min(1, cosine)) * 180) / Math.PI);
    // Its v runs up, glTF's down
    hands += a[3] === -b[3] ? 0 : 1;
  }
  found.push({ corners: list.length, degrees, hands });
}
process.stdout.write(JSON.stringify(found));
