// A headless Chromium spoken to over its DevTools pipe: no port, nothing but what the tests need.
import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

export class Chromium {
  static async start(program = process.env.CHROMIUM || 'chromium') {
    const profile = mkdtempSync(join(tmpdir(), 'sheet-'));
    const child = spawn(program, [
      '--headless=new', '--no-sandbox', '--disable-dev-shm-usage', '--hide-scrollbars', '--no-first-run', '--disable-background-networking',
      '--use-gl=angle', '--use-angle=swiftshader', '--enable-unsafe-swiftshader', `--user-data-dir=${profile}`, '--remote-debugging-pipe', 'about:blank',
    ], { stdio: ['ignore', 'ignore', 'ignore', 'pipe', 'pipe'] });
    const self = new Chromium();
    Object.assign(self, { child, profile, next: 1, waiting: new Map(), listeners: [] });
    let rest = Buffer.alloc(0);
    child.stdio[4].on('data', (part) => {
      rest = Buffer.concat([rest, part]);
      for (let end = rest.indexOf(0); end >= 0; end = rest.indexOf(0)) {
        const message = JSON.parse(rest.subarray(0, end).toString());
        rest = rest.subarray(end + 1);
        if (message.id) {
          const { resolve, reject } = self.waiting.get(message.id);
          self.waiting.delete(message.id);
          if (message.error) reject(new Error(message.error.message)); else resolve(message.result);
        } else self.listeners.forEach((hear) => hear(message));
      }
    });
    const { targetInfos } = await self.send('Target.getTargets');
    const page = targetInfos.find((t) => t.type === 'page');
    self.session = (await self.send('Target.attachToTarget', { targetId: page.targetId, flatten: true })).sessionId;
    for (const domain of ['Page', 'Runtime', 'Network', 'Log', 'Emulation']) if (domain !== 'Emulation') await self.send(`${domain}.enable`);
    return self;
  }

  send(method, params = {}) {
    const id = this.next++;
    const message = { id, method, params };
    if (this.session) message.sessionId = this.session;
    this.child.stdio[3].write(`${JSON.stringify(message)}\0`);
    return new Promise((resolve, reject) => this.waiting.set(id, { resolve, reject }));
  }

  on(hear) { this.listeners.push(hear); }

  async size(width, height, mobile = false, scale = 1) {
    await this.send('Emulation.setDeviceMetricsOverride', { width, height, deviceScaleFactor: scale, mobile });
  }

  async open(url) {
    const loaded = new Promise((resolve) => this.on((m) => m.method === 'Page.loadEventFired' && resolve()));
    await this.send('Page.navigate', { url });
    await loaded;
  }

  // Value of an expression in the page; promises are waited for.
  async value(expression) {
    const { result, exceptionDetails } = await this.send('Runtime.evaluate', { expression, awaitPromise: true, returnByValue: true });
    if (exceptionDetails) throw new Error(`${exceptionDetails.exception?.description || exceptionDetails.text} in ${expression}`);
    return result.value;
  }

  async until(expression, ms = 30000) {
    for (const start = Date.now(); Date.now() - start < ms;) {
      if (await this.value(expression)) return;
      await new Promise((r) => setTimeout(r, 40));
    }
    throw new Error(`waited ${ms} ms for ${expression}`);
  }

  async shot(full = false) {
    return Buffer.from((await this.send('Page.captureScreenshot', { format: 'png', captureBeyondViewport: full })).data, 'base64');
  }

  async click(x, y) {
    for (const type of ['mouseMoved', 'mousePressed', 'mouseReleased']) {
      await this.send('Input.dispatchMouseEvent', { type, x, y, button: type === 'mouseMoved' ? 'none' : 'left', clickCount: 1 });
    }
  }

  async drag(x, y, dx, dy) {
    await this.send('Input.dispatchMouseEvent', { type: 'mousePressed', x, y, button: 'left', clickCount: 1 });
    for (let k = 1; k <= 5; k++) await this.send('Input.dispatchMouseEvent', { type: 'mouseMoved', x: x + dx * k / 5, y: y + dy * k / 5, button: 'left', buttons: 1 });
    await this.send('Input.dispatchMouseEvent', { type: 'mouseReleased', x: x + dx, y: y + dy, button: 'left', clickCount: 1 });
  }

  async pdf() {
    return Buffer.from((await this.send('Page.printToPDF', { preferCSSPageSize: true, printBackground: true, paperWidth: 8.27, paperHeight: 11.69 })).data, 'base64');
  }

  stop() {
    this.child.kill();
    return new Promise((resolve) => this.child.on('exit', () => { rmSync(this.profile, { recursive: true, force: true, maxRetries: 5, retryDelay: 200 }); resolve(); }));
  }
}
