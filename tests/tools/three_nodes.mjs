// Loads a GLB with a node an instance with three.js and prints the world matrix of each, by columns:
// [[parent's name, [16 numbers]], ...], in the order of the file's nodes.
import { readFile } from 'node:fs/promises';
import * as THREE from '../.tools/node_modules/three/build/three.module.js';
import { GLTFLoader } from '../.tools/node_modules/three/examples/jsm/loaders/GLTFLoader.js';

const bytes = await readFile(process.argv[2]);
const data = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength);
const gltf = await new GLTFLoader().parseAsync(data, '');
gltf.scene.updateMatrixWorld(true);

const nodes = gltf.parser.json.nodes ?? [];
const found = new Map();
gltf.scene.traverse((object) => {
  const index = gltf.parser.associations.get(object)?.nodes;
  if (index === undefined || nodes[index].mesh === undefined || found.has(index)) return;
  const parent = gltf.parser.associations.get(object.parent)?.nodes;
  let meshes = 0;
  object.traverse((o) => { meshes += o.isMesh ? 1 : 0; });
  if (meshes === 0) throw new Error(`node ${index} shows nothing`);
  found.set(index, [nodes[parent].name, object.matrixWorld.toArray()]);
});
const sorted = [...found.entries()].sort((a, b) => a[0] - b[0]).map(([, entry]) => entry);
process.stdout.write(JSON.stringify(sorted));
