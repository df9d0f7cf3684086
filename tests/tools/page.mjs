// A page with three.js in headless Chromium that shows a GLB.
import { createServer } from 'node:http';
import { readFile } from 'node:fs/promises';
import { fileURLToPath } from 'node:url';
import { chromium } from '../.tools/node_modules/playwright-core/index.mjs';

const three = fileURLToPath(new URL('../.tools/node_modules/three/', import.meta.url));
const types = { js: 'text/javascript', glb: 'model/gltf-binary' };

// Runs `show`, the text of an async function's body that finds THREE, canvas and gltf, and gives what it returns. The
// canvas is saved as it is then.
export async function inBrowser(glb, screenshot, [width, height], show) {
  const page = `<!doctype html><style>body{margin:0}</style><canvas width="${width}" height="${height}"></canvas>
<script type="importmap">{"imports":{"three":"/three/build/three.module.js","three/addons/":"/three/examples/jsm/"}}</script>
<script type="module">
import * as THREE from 'three';
import { GLTFLoader } from 'three/addons/loaders/GLTFLoader.js';
window.show = async () => {
  const canvas = document.querySelector('canvas');
  const gltf = await new GLTFLoader().loadAsync('/layout.glb');
  ${show}
};
window.ready = true;
</script>`;
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
    const tab = await browser.newPage({ viewport: { width, height } });
    await tab.goto(`http://127.0.0.1:${server.address().port}/`);
    await tab.waitForFunction(() => window.ready === true, null, { timeout: 30000 });
    const seen = await tab.evaluate(() => window.show());
    await tab.screenshot({ path: screenshot, timeout: 300000 });
    return seen;
  } finally {
    await browser.close();
    server.close();
  }
}
