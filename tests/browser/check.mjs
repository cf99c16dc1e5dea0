// The page in a headless Chromium: node check.mjs PAGE.html
// Exits 1 when anything is not as it must be; its last line counts what passed and failed.
import { existsSync, readFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { Chromium } from './chromium.mjs';
import { decode } from './png.mjs';

const page = resolve(process.argv[2]);
let passed = 0, failed = 0;
const expect = (name, good, told = '') => {
  if (good) { passed++; console.log(`ok      ${name}`); } else { failed++; console.log(`NOT OK  ${name} ${told}`); }
};

const browser = await Chromium.start();
const trouble = [], requests = [];
browser.on((m) => {
  if (m.method === 'Runtime.exceptionThrown') trouble.push(m.params.exceptionDetails.exception?.description || m.params.exceptionDetails.text);
  if (m.method === 'Runtime.consoleAPICalled' && ['error', 'assert'].includes(m.params.type)) trouble.push(JSON.stringify(m.params.args));
  if (m.method === 'Log.entryAdded' && m.params.entry.level === 'error') trouble.push(m.params.entry.text);
  if (m.method === 'Network.requestWillBeSent' && !/^(data|blob):/.test(m.params.request.url)) requests.push(m.params.request.url);
});

// longer than a flight of the view, and until what was asked for by then is painted, however slow the machine
const settle = () => browser.value('new Promise((r) => setTimeout(() => requestAnimationFrame(() => requestAnimationFrame(r)), 650))');
const hash = async () => (await browser.value("document.getElementById('gl').toDataURL()"));

const start = Date.now();
await browser.size(1280, 800);
await browser.open(`file://${page}`);
await browser.until('Number(document.documentElement.dataset.painted) > 0');
const ready = Date.now() - start;
console.log(`opened and drawn in ${ready} ms`);
expect('interactive within 2 s', ready < Number(process.env.READY_MS || 2000), `${ready} ms`);
expect('only the page itself is asked for', requests.length === 1 && requests[0].startsWith('file://'), requests.join(' '));
expect('under 8 MB', readFileSync(page).length < 8e6, `${readFileSync(page).length}`);

// the picture is no blank, and the deepest place of the cavity has the legend's colour
const colours = await browser.value(`(() => { const c = document.getElementById('gl'), g = c.getContext('webgl2'); const p = new Uint8Array(4 * c.width * c.height); g.readPixels(0, 0, c.width, c.height, g.RGBA, g.UNSIGNED_BYTE, p); const s = new Set(); for (let k = 0; k < p.length; k += 4 * 37) s.add(p[k] << 16 | p[k + 1] << 8 | p[k + 2]); return s.size; })()`);
expect('the view is drawn', colours > 40, `${colours} colours`);

await browser.value("document.querySelector('.view').scrollIntoView()");
const choose = (id, value) => browser.value(`(() => { const e = document.getElementById('${id}'); e.value = '${value}'; e.dispatchEvent(new Event('change')); e.dispatchEvent(new Event('input')); })()`);

const options = (id) => browser.value(`[...document.getElementById('${id}').options].map((o) => o.value)`);

// known points: pixels of the screen against the colour that the legend has for their value
const view = 'window.moldvetView';
const data = JSON.parse(await browser.value("document.getElementById('data').textContent"));
const agree = async (name) => {
  const found = await browser.value(`(() => {
    const v = ${view}, out = [];
    const c = document.getElementById('gl').getBoundingClientRect();
    for (let k = 0; k < 60; k++) {
      const p = v.sample(k);
      if (p) out.push({ x: c.left + p.x, y: c.top + p.y, colour: v.legendColour(p.value), value: p.value });
    }
    return out;
  })()`);
  // pins stand over the picture, not in it
  await browser.value("document.getElementById('pins').style.visibility = 'hidden'");
  const shot = decode(await browser.shot());
  await browser.value("document.getElementById('pins').style.visibility = ''");
  let near = 0;
  for (const p of found) {
    // a level line or a hatch line may run through a pixel: one of nine must agree
    let best = Infinity;
    for (let dx = -1; dx <= 1; dx++) for (let dy = -1; dy <= 1; dy++) {
      const c = shot.at(Math.min(1279, Math.max(0, Math.round(p.x) + dx)), Math.min(799, Math.max(0, Math.round(p.y) + dy)));
      best = Math.min(best, Math.hypot(c[0] - p.colour[0], c[1] - p.colour[1], c[2] - p.colour[2]));
    }
    if (best < 12) near++;
  }
  expect(`colours agree with the legend: ${name}`, found.length >= 8 && near >= 0.85 * found.length, `${near} of ${found.length}`);
};
// the part of a body stands first; its draft is judged all over
const part = data.halves.findIndex((h) => h.parting);
if (part >= 0) {
  expect('the part is shown first', (await browser.value("document.getElementById('show').value")) === String(part));
  expect('its parting line stands in the legend', (await browser.value("document.getElementById('legend').textContent")).includes('parting line'));
  await agree('draft of the part');
  await choose('show', '0');
  await settle();
}
const questions = await options('question');
const wanted = ['depth', 'draft', 'radius', 'wall', 'left-1', 'stickout-1', ...(data.b_to_a ? ['mismatch'] : []), ...(process.argv.includes('--plan') ? ['cusp'] : [])];
expect('every question can be asked', wanted.every((q) => questions.includes(q)), questions.join(' '));
for (const question of ['radius', 'wall', 'depth']) {
  await choose('question', question);
  await settle();
  await agree(question);
}
if (data.b_to_a) {
  const plain = await hash();
  await choose('question', 'mismatch');
  await settle();
  expect('the rims are drawn by their mismatch', (await hash()) !== plain);
  await choose('question', 'depth');
  await settle();
}
const before = await hash();
await choose('question', 'draft');
await settle();
expect('another question changes the picture', (await hash()) !== before);
expect('and the legend', (await browser.value("document.getElementById('legend').textContent")).includes('Draft'));
await agree('draft');

// a click on a finding moves the view and marks it
const pins = await browser.value("document.querySelectorAll('button.pin[data-pin]').length");
if (pins) {
  const unmoved = await hash();
  const number = await browser.value("(() => { const b = document.querySelector('button.pin[data-pin]'); b.click(); return b.dataset.pin; })()");
  await settle(); await settle();
  expect('a finding moves the view', (await hash()) !== unmoved);
  expect('and is marked in list and view', await browser.value(`document.getElementById('finding-${number}').classList.contains('on') && document.querySelector('#pins .pin.on').textContent === '${number}'`));
  expect('and its figures are read out', (await browser.value("document.getElementById('readout').textContent")).includes(`finding ${number}`));
}

// the section plane moves by handle and by key
await browser.value("document.getElementById('cut').click()");
await settle();
const cut = await hash();
const at = await browser.value("(() => { const r = document.getElementById('handle').getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]; })()");
await browser.drag(at[0], at[1], 40, 30);
await settle();
expect('the section is dragged', (await hash()) !== cut);
const dragged = await browser.value("document.getElementById('handle').getAttribute('aria-valuenow')");
await browser.value("document.getElementById('handle').focus()");
for (let k = 0; k < 4; k++) await browser.send('Input.dispatchKeyEvent', { type: 'keyDown', key: 'ArrowRight', code: 'ArrowRight' });
await settle();
expect('and moved by keys', (await browser.value("document.getElementById('handle').getAttribute('aria-valuenow')")) !== dragged);
const tools = await browser.value("[...document.getElementById('tool').options].map((o) => o.value)");
const withTool = await hash();
await choose('tool', '-1');
await settle();
expect('a tool stands in the section', tools.length > 1 && (await hash()) !== withTool);
await browser.value("document.getElementById('cut').click()");

// keys turn the view
const still = await hash();
await browser.value("document.getElementById('gl').focus()");
await browser.send('Input.dispatchKeyEvent', { type: 'keyDown', key: 'ArrowLeft', code: 'ArrowLeft' });
await settle();
expect('keys turn the view', (await hash()) !== still);

// a click on the mold reads its figures
const centre = await browser.value("(() => { const r = document.getElementById('gl').getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]; })()");
await browser.click(centre[0], centre[1]);
await settle();
expect('a click reads a place', /below parting/.test(await browser.value("document.getElementById('readout').textContent")));

// units: every shown length changes
const shown = "[...document.querySelectorAll('main, #legend, #readout')].map((e) => e.innerText).join('\\n')";
await browser.value("document.getElementById('unit-mm').click()");
const mm = await browser.value(shown);
await browser.value("document.getElementById('unit-in').click()");
await settle();
const inch = await browser.value(shown);
const lengths = /\d\s?(mm|mm²|mm³|cm³)(?![a-z])/;
const named = data.halves.flatMap((h) => h.cutters.filter(Boolean).map((c) => c.name));
const bare = (text) => named.reduce((t, n) => t.split(n).join(''), text);
expect('millimetres are there', lengths.test(bare(mm)));
expect('none is left in inches', !lengths.test(bare(inch)), bare(inch).split('\n').filter((l) => lengths.test(l)).slice(0, 3).join(' | '));
expect('pictures change, too', await browser.value("[...document.querySelectorAll('figure')].every((f) => [...f.querySelectorAll('img')].filter((i) => i.offsetParent).every((i) => i.className === 'in'))"));
await browser.value("document.getElementById('unit-mm').click()");

if (data.b_to_a) {
  await choose('show', 'pair');
  await settle();
  const closed = await hash();
  await browser.value("(() => { const o = document.getElementById('open'); o.value = 60; o.dispatchEvent(new Event('input')); })()");
  await settle();
  expect('the pair opens', (await hash()) !== closed);
}

// accessibility, where the checker is installed: see package.json
const axe = new URL('node_modules/axe-core/axe.min.js', import.meta.url);
if (existsSync(axe)) {
  await browser.value("document.querySelectorAll('[hidden]').length");
  await browser.value(`${readFileSync(axe, 'utf8')}; true`);
  const found = JSON.parse(await browser.value("axe.run().then((r) => JSON.stringify(r.violations.map((v) => ({ id: v.id, impact: v.impact, at: v.nodes.slice(0, 3).map((n) => n.target.join(' ')) }))))"));
  const serious = found.filter((v) => ['serious', 'critical'].includes(v.impact));
  console.log(`accessibility: ${found.length} findings, ${serious.length} serious`, JSON.stringify(found));
  expect('no serious accessibility finding', serious.length === 0, JSON.stringify(serious));
} else console.log('accessibility checker not installed: skipped');

// sizes: nothing sticks out of the window
for (const [width, height, mobile] of [[1280, 800, false], [390, 844, true]]) {
  await browser.size(width, height, mobile);
  await settle();
  const over = await browser.value('document.documentElement.scrollWidth');
  expect(`no sideways scrolling at ${width} × ${height}`, over <= width, `${over}`);
}
const small = await browser.value("[...document.querySelectorAll('main p, main td, main th, main dd')].filter((e) => e.offsetParent && parseFloat(getComputedStyle(e).fontSize) < 11).length");
expect('readable on a phone: no text below 11 px', small === 0, `${small}`);

// print: two to four pages for a pair, no table cut off at the side
await browser.size(1280, 800);
await browser.send('Emulation.setEmulatedMedia', { media: 'print' });
await browser.size(703, 1000);
await settle();
const cutTables = await browser.value("[...document.querySelectorAll('.scroll')].filter((s) => s.scrollWidth > s.clientWidth + 1).length");
expect('no table is cut in print', cutTables === 0, `${cutTables}`);
await browser.send('Emulation.setEmulatedMedia', { media: '' });
const pdf = (await browser.pdf()).toString('latin1');
const sheets = (pdf.match(/\/Type\s*\/Page[^s]/g) || []).length;
expect('prints on two to four pages', sheets >= 1 && sheets <= 4, `${sheets}`);

expect('no error on the console', trouble.length === 0, trouble.slice(0, 3).join(' | '));
expect('nothing was asked for in the end', requests.length === 1, requests.join(' '));
await browser.stop();
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed ? 1 : 0);
