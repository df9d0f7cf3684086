// Shows a GLB that holds cameras, ground, heroes and the sun as a viewer would, with three.js in headless Chromium: through
// its first camera, under its own sun and a plain sky. Prints { instances }. Arguments: GLB, PNG to write.
import { inBrowser } from './page.mjs';

const [glb, picture] = process.argv.slice(2);
const show = `
  const renderer = new THREE.WebGLRenderer({ canvas, antialias: true, preserveDrawingBuffer: true });
  renderer.toneMapping = THREE.ACESFilmicToneMapping;
  renderer.shadowMap.enabled = true;
  const camera = gltf.cameras[0];
  let instances = 0;
  const suns = [];
  gltf.scene.traverse((o) => {
    if (o.isInstancedMesh) instances += o.count;
    if (o.isMesh) o.castShadow = o.receiveShadow = true;
    if (o.isDirectionalLight) suns.push(o);
  });
  const scene = new THREE.Scene();
  scene.background = new THREE.Color(0x9fb4c8);
  scene.add(gltf.scene, new THREE.HemisphereLight(0xcfdcec, 0x776a5a, 0.4));
  scene.updateMatrixWorld(true);
  // What is a metre and a half in front of the lens
  const middle = new THREE.Vector3(0, 0, -1.5).applyMatrix4(camera.matrixWorld);
  for (const sun of suns) {
    const toward = sun.target.getWorldPosition(new THREE.Vector3()).sub(sun.getWorldPosition(new THREE.Vector3())).normalize();
    const { color } = sun;
    const lamp = new THREE.DirectionalLight(color, 7);
    lamp.position.copy(middle).addScaledVector(toward, -8);
    lamp.target.position.copy(middle);
    lamp.castShadow = true;
    lamp.shadow.mapSize.set(4096, 4096);
    Object.assign(lamp.shadow.camera, { left: -2.5, right: 2.5, top: 2.5, bottom: -2.5, near: 1, far: 16 });
    lamp.shadow.normalBias = 0.002;
    scene.add(lamp, lamp.target);
    // The file's is in lux, which this page has no exposure for
    sun.intensity = 0;
  }
  renderer.render(scene, camera);
  return { instances };`;
process.stdout.write(JSON.stringify(await inBrowser(glb, picture, [640, 360], show)));
