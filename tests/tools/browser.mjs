// Shows a GLB with three.js in headless Chromium through the file's first camera: prints { instances, drawn, share }, that
// is copies in the scene, triangles drawn, and the share of the frame's pixels that are not background. Arguments: GLB, PNG
// for the screenshot.
import { createServer } from 'node:http';
import { readFile } from 'node:fs/promises';
import { fileURLToPath } from 'node:url';
import { chromium } from '../.tools/node_modules/playwright-core/index.mjs';

const [glb, screenshot] = process.argv.slice(2);
const three = fileURLToPath(new URL('../.tools/node_modules/three/', import.meta.url));
const page = `<!doctype html><style>body{margin:0}</style><canvas width="480" height="270"></canvas>
<script type="importmap">{"imports":{"three":"/three/build/three.module.js","three/addons/":"/three/examples/jsm/"}}</script>
<script type="module">
import * as THREE from 'three';
import { GLTFLoader } from 'three/addons/loaders/GLTFLoader.js';
window.show = async () => {
  const canvas = document.querySelector('canvas');
  const renderer = new THREE.WebGLRenderer({ canvas, preserveDrawingBuffer: true });
  const gltf = await new GLTFLoader().loadAsync('/layout.glb');
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
  return { instances, drawn: renderer.info.render.triangles, share: shown / (w * h) };
};
window.ready = true;
</script>`;
const types = { js: 'text/javascript', glb: 'model/gltf-binary' };
const server = createServer(async (request, response) => {
  const path = new URL(request.url, 'http://localhost').pathname;
  try {
    let body = page;
    let type = 'text/html';
    if (path === '/layout.glb') [body, type] = [await readFile(glb), types.glb];
    else if (path.startsWith('/three/') && !path.includes('..')) [body, type] = [await readFile(three + path.slice(7)), types.js];
    else if (path !== '/') throw new Error('nothing there');
    response.writeHead(200, { 'content-type': type }).end(body);
  } catch {
    response.writeHead(404).end();
  }
});
await new Promise((listening) => server.listen(0, '127.0.0.1', listening));
const browser = await chromium.launch({
  executablePath: '/usr/bin/chromium',
  args: ['--no-sandbox', '--use-angle=swiftshader', '--enable-unsafe-swiftshader', '--ignore-gpu-blocklist'],
});
try {
  const tab = await browser.newPage({ viewport: { width: 480, height: 270 } });
  await tab.goto(`http://127.0.0.1:${server.address().port}/`);
  await tab.waitForFunction(() => window.ready === true, null, { timeout: 30000 });
  const seen = await tab.evaluate(() => window.show());
  await tab.screenshot({ path: screenshot });
  process.stdout.write(JSON.stringify(seen));
} finally {
  await browser.close();
  server.close();
}
