// Loads a GLB with three.js and prints the world matrix of every instance, by columns: [[name, [16 numbers]], ...].
// Instances are printed in the order of the file's nodes.
import { readFile } from 'node:fs/promises';
import * as THREE from '../.tools/node_modules/three/build/three.module.js';
import { GLTFLoader } from '../.tools/node_modules/three/examples/jsm/loaders/GLTFLoader.js';

const bytes = await readFile(process.argv[2]);
const data = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength);
const gltf = await new GLTFLoader().parseAsync(data, '');
gltf.scene.updateMatrixWorld(true);

const found = [];
gltf.scene.traverse((object) => {
  if (!object.isInstancedMesh) return;
  // The loader cleans names for its own use; the file's name it keeps in userData.
  const name = object.userData.name ?? object.parent.userData.name ?? object.name;
  const index = gltf.parser.associations.get(object)?.nodes ?? -1;
  const matrix = new THREE.Matrix4();
  const matrices = [];
  for (let i = 0; i < object.count; i++) {
    object.getMatrixAt(i, matrix);
    matrices.push(matrix.premultiply(object.matrixWorld).toArray());
  }
  found.push({ index, name, matrices });
});
found.sort((a, b) => a.index - b.index);
process.stdout.write(JSON.stringify(found.flatMap(({ name, matrices }) => matrices.map((m) => [name, m]))));
