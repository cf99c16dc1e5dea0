// The README's pictures: node readme.mjs HALF.html PART.html FOLDER, of the pages that `run` makes
import { writeFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { Chromium } from './chromium.mjs';

const [half, part, folder] = process.argv.slice(2);
const browser = await Chromium.start();
const settle = () => new Promise((r) => setTimeout(r, 1400));
const open = async (page, height) => {
  await browser.size(1100, height);
  await browser.open(`file://${resolve(page)}`);
  await browser.until("document.documentElement.dataset.painted > 0");
  await settle();
};
const save = async (name) => writeFileSync(`${folder}/${name}.png`, await browser.shot());
const toView = () => browser.value("document.querySelector('.view').closest('section').scrollIntoView()");
await open(half, 720);
await save('page');
await toView();
await browser.value("const q = document.getElementById('question'); q.value = [...q.options].find((o) => /radius/i.test(o.text)).value; q.dispatchEvent(new Event('change'))");
await settle();
await save('view-radius');
await open(half, 720);
await browser.value("document.querySelectorAll('button.pin[data-pin]')[2].click()");
await settle();
await browser.value("document.getElementById('cut').click()");
await toView();
await settle();
await save('view-section');
await open(part, 560);
await toView();
await settle();
await save('view-part');
await browser.stop();
