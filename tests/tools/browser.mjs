// Shows a GLB with three.js in headless Chromium through the file's first camera: prints { instances, drawn, share }, that
// is copies in the scene, triangles drawn, and the share of the frame's pixels that are not background. Arguments: GLB, PNG
// for the screenshot.
import { inBrowser } from './page.mjs';

const [glb, screenshot] = process.argv.slice(2);
const show = `
  const renderer = new THREE.WebGLRenderer({ canvas, preserveDrawingBuffer: true });
  let instances = 0;
  gltf.scene.traverse((o) => {
    if (o.isInstancedMesh) instances += o.count;
    else if (o.isMesh) instances += 1;
    // The file's lights are in lux, which this page has no exposure for
    if (o.isLight) o.intensity = 0;
  });
  const scene = new THREE.Scene();
  scene.background = new THREE.Color(0x0000ff);
  scene.add(gltf.scene, new THREE.HemisphereLight(0xffffff, 0x888888, 3));
  renderer.render(scene, gltf.cameras[0]);
  const gl = renderer.getContext();
  const [w, h] = [gl.drawingBufferWidth, gl.drawingBufferHeight];
  const pixels = new Uint8Array(4 * w * h);
  gl.readPixels(0, 0, w, h, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
  let shown = 0;
  for (let i = 0; i < pixels.length; i += 4) {
    if (!(pixels[i] === 0 && pixels[i + 1] === 0 && pixels[i + 2] === 255)) shown += 1;
  }
  return { instances, drawn: renderer.info.render.triangles, share: shown / (w * h) };`;
process.stdout.write(JSON.stringify(await inBrowser(glb, screenshot, [480, 270], show)));
