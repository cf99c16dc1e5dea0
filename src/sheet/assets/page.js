'use strict';
// The page's view: meshes coloured by question, pins, a section plane and the tool that stands in it.
(async () => {
  // a picture among others takes the whole row when it is clicked
  document.querySelectorAll('.pictures figure:not(:only-child)').forEach((f) => {
    const turn = () => f.classList.toggle('large');
    f.tabIndex = 0;
    f.addEventListener('click', turn);
    f.addEventListener('keydown', (e) => { if (e.key === 'Enter') turn(); });
  });
  const $ = (id) => document.getElementById(id);
  const D = JSON.parse($('data').textContent);
  const stage = $('gl');
  if (!stage || !D.halves.length) return;

  // ---- figures in the reader's unit; the same decimals as the report
  const inch = () => $('unit-in').checked;
  const trim = (v, d) => { let t = v.toFixed(d); if (t.includes('.')) t = t.replace(/\.?0+$/, ''); return t === '-0' ? '0' : t; };
  const unitOf = (q) => q === 'angle' ? '°' : inch() ? ' in' : ' mm';
  const number = (v, q, d) => q === 'angle' ? trim(v, d ?? 1) : inch() ? trim(v / 25.4, d ?? 4) : trim(v, d ?? 3);
  const show = (v, q, d) => number(v, q, d) + unitOf(q);

  // ---- unpacking
  const ramp = new Float32Array(256 * 3);
  for (let k = 0; k < 768; k++) ramp[k] = parseInt(D.ramp.substr(2 * k, 2), 16) / 255;
  const unpack = async (h) => {
    const packed = Uint8Array.from(atob(h.blob), (c) => c.charCodeAt(0));
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream('deflate'));
    const raw = await new Response(stream).arrayBuffer();
    let at = 0;
    const take = (Kind, n) => { const a = new Kind(raw, at, n); at += a.byteLength; return a; };
    h.index = take(Uint32Array, 3 * h.triangles);
    h.lines = take(Uint32Array, 2 * h.edges);
    const codes = take(Uint16Array, 3 * h.vertices);
    const tops = take(Uint16Array, h.heights.nx * h.heights.ny);
    h.questions.forEach((q) => { q.codes = take(Uint16Array, h.triangles); });
    h.kinds = take(Uint8Array, h.triangles);
    h.normals = take(Int8Array, 3 * h.triangles);
    h.places = Float32Array.from(codes, (c, i) => h.lo[i % 3] + (h.hi[i % 3] - h.lo[i % 3]) * c / 65535);
    const [lo, hi] = h.heights.range;
    h.top = Float32Array.from(tops, (c) => c ? lo + (hi - lo) * (c - 1) / 65534 : -Infinity);
    delete h.blob;
  };
  await Promise.all(D.halves.map(unpack));
  const valueOf = (q, t) => { const c = q.codes[t]; return c ? q.packed[0] + (q.packed[1] - q.packed[0]) * (c - 1) / 65534 : NaN; };
  const beyond = (limit, v) => !!limit && (limit.above ? v > limit.value : v < limit.value);

  // ---- scene
  let renderer;
  try {
    renderer = new THREE.WebGLRenderer({ canvas: stage, antialias: true, preserveDrawingBuffer: true });
  } catch (e) {
    $('nogl').hidden = false; stage.hidden = true; $('handle').hidden = true;
    return;
  }
  renderer.setClearColor(0xfbfaf7, 1);
  const scene = new THREE.Scene();
  const camera = new THREE.PerspectiveCamera(30, 1, 0.1, 5000);
  camera.up.set(0, 0, 1);
  const uniforms = {
    plane: { value: new THREE.Vector3(1, 0, 0) }, offset: { value: 0 }, cut: { value: 0 },
    level: { value: 5 }, dpr: { value: 1 },
  };
  const material = new THREE.ShaderMaterial({
    uniforms, side: THREE.DoubleSide,
    polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1,
    vertexShader: `attribute vec3 color; attribute vec3 facing; attribute float flag; varying vec3 vColor; varying vec3 vFacing; varying float vFlag; varying vec3 vWorld; varying float vZ;
      void main(){ vColor=color; vFlag=flag; vFacing=mat3(modelMatrix)*facing; vZ=position.z; vec4 w=modelMatrix*vec4(position,1.0); vWorld=w.xyz; gl_Position=projectionMatrix*viewMatrix*w; }`,
    fragmentShader: `precision highp float; varying vec3 vColor; varying vec3 vFacing; varying float vFlag; varying vec3 vWorld; varying float vZ;
      uniform vec3 plane; uniform float offset; uniform float cut; uniform float level; uniform float dpr;
      void main(){
        if (cut>0.5 && dot(vWorld,plane)>offset) discard;
        vec2 px=gl_FragCoord.xy/dpr;
        if (cut>0.5 && dot(vFacing,vWorld-cameraPosition)>0.0) {
          float l=mod(px.x-px.y,9.0); gl_FragColor=vec4(l<1.3?vec3(0.42):vec3(0.91,0.90,0.88),1.0); return;
        }
        vec3 n=normalize(vFacing+vec3(1e-6));
        vec3 c=vColor;
        float judged=step(0.5,vFlag);
        float light=0.72+0.28*abs(n.z*0.8+n.x*0.35+n.y*0.2);
        if (vFlag<0.5) c*=light;
        float z=vZ/level; float w=fwidth(z);
        // level lines no wider than a pixel or two, and none where they would crowd and change the colour of the scale
        float line=(1.0-smoothstep(0.35,0.95,abs(fract(z-0.5)-0.5)/max(w,1e-6)))*(1.0-smoothstep(0.09,0.16,w));
        if (judged>0.5) c=mix(c, dot(c,vec3(0.3,0.6,0.1))>0.42?c*0.62:c*0.5+0.32, line*0.55);
        if (vFlag>1.5 && vFlag<2.5 && mod(px.x+px.y,7.0)<1.4) c=vec3(0.0);
        if (vFlag>2.5 && vFlag<3.5) c=mod(px.x-px.y,7.0)<3.0?vec3(0.835,0.369,0.0):vec3(1.0);
        gl_FragColor=vec4(c,1.0);
      }`,
  });
  const inkLines = new THREE.ShaderMaterial({
    uniforms,
    vertexShader: 'varying vec3 vWorld; void main(){ vec4 w=modelMatrix*vec4(position,1.0); vWorld=w.xyz; gl_Position=projectionMatrix*viewMatrix*w; }',
    fragmentShader: 'precision highp float; varying vec3 vWorld; uniform vec3 plane; uniform float offset; uniform float cut; void main(){ if (cut>0.5 && dot(vWorld,plane)>offset+1e-3) discard; gl_FragColor=vec4(0.11,0.12,0.13,1.0); }',
  });
  for (const h of D.halves) {
    const n = h.triangles;
    const p = new Float32Array(9 * n);
    for (let k = 0; k < 3 * n; k++) for (let c = 0; c < 3; c++) p[3 * k + c] = h.places[3 * h.index[k] + c];
    const g = new THREE.BufferGeometry();
    g.setAttribute('position', new THREE.BufferAttribute(p, 3));
    h.colour = new Float32Array(9 * n); h.flag = new Float32Array(3 * n);
    g.setAttribute('color', new THREE.BufferAttribute(h.colour, 3));
    const f = new Int8Array(9 * n);
    for (let t = 0; t < n; t++) for (let c = 0; c < 9; c++) f[9 * t + c] = h.normals[3 * t + c % 3];
    g.setAttribute('facing', new THREE.BufferAttribute(f, 3, true));
    g.setAttribute('flag', new THREE.BufferAttribute(h.flag, 1));
    h.mesh = new THREE.Mesh(g, material); h.mesh.frustumCulled = false;
    const e = new Float32Array(6 * h.edges);
    for (let k = 0; k < 2 * h.edges; k++) for (let c = 0; c < 3; c++) e[3 * k + c] = h.places[3 * h.lines[k] + c];
    const lg = new THREE.BufferGeometry();
    lg.setAttribute('position', new THREE.BufferAttribute(e, 3));
    const lines = new THREE.LineSegments(lg, inkLines); lines.frustumCulled = false;
    h.group = new THREE.Group(); h.group.add(h.mesh, lines); h.group.matrixAutoUpdate = false;
    scene.add(h.group);
  }
  const toolGroup = new THREE.Group(); scene.add(toolGroup);

  // a line in space that is as thick as `radius`: six sides around each piece [x, y, z, x, y, z]
  const tube = (pieces, radius, colourOf) => {
    const n = pieces.length, p = new Float32Array(n * 108), c = new Float32Array(n * 108);
    const V = (x, y, z) => new THREE.Vector3(x, y, z);
    pieces.forEach((e, k) => {
      const a = V(e[0], e[1], e[2]), b = V(e[3], e[4], e[5]), d = b.clone().sub(a);
      if (d.length() < 1e-9) return;
      d.normalize();
      const r = typeof radius === 'function' ? radius(k) : radius;
      const u = (Math.abs(d.z) < 0.9 ? V(0, 0, 1) : V(1, 0, 0)).cross(d).normalize(), v = d.clone().cross(u);
      // pieces overlap a little, so that a bend has no notch
      a.addScaledVector(d, -0.4 * r); b.addScaledVector(d, 0.4 * r);
      const ring = (o, s) => { const t = s / 6 * 2 * Math.PI; return o.clone().addScaledVector(u, r * Math.cos(t)).addScaledVector(v, r * Math.sin(t)); };
      const colour = colourOf(k);
      for (let s = 0; s < 6; s++) [ring(a, s), ring(b, s), ring(b, s + 1), ring(a, s), ring(b, s + 1), ring(a, s + 1)].forEach((q, i) => {
        const at = 108 * k + 18 * s + 3 * i;
        p.set([q.x, q.y, q.z], at); c.set(colour, at);
      });
    });
    const g = new THREE.BufferGeometry();
    g.setAttribute('position', new THREE.BufferAttribute(p, 3)); g.setAttribute('color', new THREE.BufferAttribute(c, 3));
    const mesh = new THREE.Mesh(g, lineMaterial); mesh.frustumCulled = false;
    return mesh;
  };
  const lineMaterial = new THREE.ShaderMaterial({
    side: THREE.DoubleSide,
    vertexShader: 'attribute vec3 color; varying vec3 vColor; void main(){ vColor=color; gl_Position=projectionMatrix*modelViewMatrix*vec4(position,1.0); }',
    fragmentShader: 'precision highp float; varying vec3 vColor; void main(){ gl_FragColor=vec4(vColor,1.0); }',
  });
  for (const h of D.halves) {
    const size = Math.hypot(h.hi[0] - h.lo[0], h.hi[1] - h.lo[1], h.hi[2] - h.lo[2]);
    const onRamp = (v, [lo, hi]) => { const i = Math.round(Math.min(1, Math.max(0, (v - lo) / (hi - lo || 1))) * 255); return [ramp[3 * i], ramp[3 * i + 1], ramp[3 * i + 2]]; };
    if (h.parting) {
      const pieces = h.parting.flatMap((l) => l.slice(1).map((q, k) => [...l[k], ...q]));
      h.group.add(tube(pieces, 0.004 * size, () => [0.835, 0.369, 0]));
    }
    if (h.ribbon) {
      const r = h.ribbon, pieces = r.pieces.map(([x, y, u, v, z]) => [x, y, z, u, v, z]);
      // beyond the limit it is thicker, too
      h.rim = tube(pieces, (k) => (beyond(r.limit, r.pieces[k][5]) ? 0.009 : 0.005) * size, (k) => onRamp(r.pieces[k][5], r.range));
      h.group.add(h.rim);
    }
  }

  // ---- what is shown
  const state = { shown: [0], question: 'depth', open: 0, cut: false, cutAt: 0.5, turn: 0, tool: -1, spot: null, pin: 0 };
  const half = () => D.halves[state.shown[0]];
  const questionOf = (h) => h.questions.find((q) => q.key === state.question) || h.questions[0];
  const hasQuestion = (h) => h.questions.some((q) => q.key === state.question);
  const MISMATCH = 'mismatch';
  const shownRange = () => {
    if (state.question === MISMATCH) { const r = D.halves[0].ribbon; return { lo: r.range[0], hi: r.range[1], q: { title: r.title, quantity: 'length', limit: r.limit } }; }
    const qs = state.shown.map((k) => D.halves[k]).filter(hasQuestion).map(questionOf);
    return { lo: Math.min(...qs.map((q) => q.range[0])), hi: Math.max(...qs.map((q) => q.range[1])), q: qs[0] };
  };
  const FACE = [0.87, 0.86, 0.83], NONE = [0.59, 0.58, 0.565];
  const recolour = () => {
    const { lo, hi } = shownRange();
    for (const k of state.shown) {
      const h = D.halves[k];
      const q = hasQuestion(h) ? questionOf(h) : null;
      for (let t = 0; t < h.triangles; t++) {
        const kind = h.kinds[t];
        const v = q ? valueOf(q, t) : NaN;
        let flag = 0, own = false, r = FACE;
        if (kind === 2 && state.question !== 'depth' && state.question !== 'draft') flag = 3;
        else if (kind === 0 || state.question === MISMATCH || (kind === 3 && isNaN(v))) flag = 0;
        else if (isNaN(v)) { flag = 4; r = NONE; }
        else { flag = beyond(q.limit, v) ? 2 : 1; own = true; }
        for (let c = 0; c < 3; c++) {
          let value = v;
          if (own && q.key === 'depth') value = -h.mesh.geometry.attributes.position.array[9 * t + 3 * c + 2];
          const i = Math.round(Math.min(1, Math.max(0, (value - lo) / (hi - lo || 1))) * 255);
          for (let b = 0; b < 3; b++) h.colour[9 * t + 3 * c + b] = own ? ramp[3 * i + b] : r[b];
          h.flag[3 * t + c] = flag;
        }
      }
      h.mesh.geometry.attributes.color.needsUpdate = true;
      h.mesh.geometry.attributes.flag.needsUpdate = true;
    }
    D.halves.forEach((h) => { if (h.rim) h.rim.visible = state.question === MISMATCH; });
    legend();
  };
  const roundStep = (least) => { const p = 10 ** Math.floor(Math.log10(least)); return [1, 2, 5, 10].map((m) => m * p).find((s) => s >= least * (1 - 1e-9)); };
  const legend = () => {
    const { lo, hi, q } = shownRange();
    const box = $('legend'); box.textContent = '';
    const add = (parent, tag, cls, text) => { const e = document.createElement(tag); if (cls) e.className = cls; if (text !== undefined) e.textContent = text; parent.appendChild(e); return e; };
    add(box, 'strong', '', q.title);
    const scale = add(box, 'div', 'scale');
    const bar = add(scale, 'div', 'bar');
    const stops = []; for (let k = 0; k <= 16; k++) { const i = Math.round(k / 16 * 255); stops.push(`#${D.ramp.substr(6 * i, 6)}`); }
    bar.style.background = `linear-gradient(to top, ${stops.join(',')})`;
    const at = (v) => 100 * (1 - (v - lo) / (hi - lo || 1));
    const f = q.quantity !== 'angle' && inch() ? 25.4 : 1;
    const step = roundStep((hi - lo) / f / 5);
    const limit = q.limit && q.limit.value >= lo && q.limit.value <= hi ? q.limit : null;
    for (let k = Math.ceil(lo / f / step - 1e-9); k * step * f <= hi + 1e-9; k++) {
      const v = k * step * f;
      if (limit && Math.abs(at(limit.value) - at(v)) < 8) continue;
      const t = add(scale, 'span', 'tick', show(v, q.quantity)); t.style.top = `${at(v)}%`;
    }
    if (limit) {
      const over = add(scale, 'div', 'over');
      over.style.top = limit.above ? '0' : `${at(limit.value)}%`;
      over.style.bottom = limit.above ? `${100 - at(limit.value)}%` : '0';
      const l = add(scale, 'span', 'limit', `${show(limit.value, q.quantity)} limit`); l.style.top = `${at(limit.value)}%`;
    }
    const ul = add(box, 'ul');
    const key = (cls, text) => { const li = add(ul, 'li'); add(li, 'i', cls); add(li, 'span', '', text); };
    if (state.question === MISMATCH) key('k-thick', 'thicker: beyond the limit');
    else if (q.limit) key('k-over', 'beyond the limit');
    if (state.shown.some((k) => D.halves[k].parting)) key('k-line', 'parting line');
    else key('k-face', 'not cavity');
    if (state.shown.some((k) => D.halves[k].kinds.includes(2)) && state.question !== 'depth' && state.question !== 'draft') key('k-hidden', 'hidden from the tool axis');
    if (/^(left|stickout|radius|wall|cusp)/.test(state.question)) key('k-none', 'not judged here');
  };

  // ---- placing
  const matrixOf = (k) => {
    const m = new THREE.Matrix4();
    if (state.shown.length === 2 && k === 1) {
      m.fromArray(D.b_to_a);
      const h = D.halves[1];
      m.premultiply(new THREE.Matrix4().makeTranslation(0, 0, state.open * 1.3 * (h.hi[2] - h.lo[2] + 10)));
    }
    return m;
  };
  const arrange = () => {
    D.halves.forEach((h, k) => {
      h.group.visible = state.shown.includes(k);
      h.group.matrix.copy(matrixOf(k)); h.group.updateMatrixWorld(true);
    });
    uniforms.level.value = roundStep(Math.max(half().depth || half().hi[2] - half().lo[2], 1) / (inch() ? 25.4 : 1) / 14) * (inch() ? 25.4 : 1);
  };
  const sphere = { theta: -0.9, phi: 0.75, r: 200 };
  const target = new THREE.Vector3();
  const boundsOf = () => {
    const box = new THREE.Box3();
    for (const k of state.shown) {
      const h = D.halves[k];
      const b = new THREE.Box3(new THREE.Vector3(...h.lo), new THREE.Vector3(...h.hi)).applyMatrix4(matrixOf(k));
      box.union(b);
    }
    return box;
  };
  const fit = () => {
    const box = boundsOf(), size = box.getSize(new THREE.Vector3());
    box.getCenter(target);
    const narrow = Math.min(1, stage.clientWidth / Math.max(1, stage.clientHeight));
    sphere.r = 0.55 * size.length() / Math.tan(15 * Math.PI / 180) / narrow;
  };
  const home = () => { Object.assign(sphere, { theta: -0.9, phi: state.shown.length === 2 ? 1.15 : 0.72 }); fit(); };
  const aim = () => {
    const { theta, phi, r } = sphere;
    camera.position.set(target.x + r * Math.sin(phi) * Math.cos(theta), target.y + r * Math.sin(phi) * Math.sin(theta), target.z + r * Math.cos(phi));
    camera.near = r / 60; camera.far = r * 12;
    camera.lookAt(target); camera.updateProjectionMatrix(); camera.updateMatrixWorld(true);
  };

  // ---- section plane: upright, turned about the tool axis
  const planeOf = () => {
    const a = state.turn * Math.PI / 180;
    const n = new THREE.Vector3(Math.sin(a), -Math.cos(a), 0);
    const box = boundsOf();
    const ends = [[box.min.x, box.min.y], [box.min.x, box.max.y], [box.max.x, box.min.y], [box.max.x, box.max.y]].map(([x, y]) => x * n.x + y * n.y);
    const lo = Math.min(...ends), hi = Math.max(...ends);
    return { n, lo, hi, at: lo + state.cutAt * (hi - lo), middle: box.getCenter(new THREE.Vector3()), top: box.max.z };
  };
  const setCutThrough = (p) => { const q = planeOf(); state.cutAt = (p.x * q.n.x + p.y * q.n.y - q.lo) / (q.hi - q.lo); $('cut-at').value = 100 * state.cutAt; };

  // ---- drawing
  const raycaster = new THREE.Raycaster();
  const pinBox = $('pins'), handle = $('handle');
  const project = (v) => { const p = v.clone().project(camera); return [(p.x + 1) / 2 * stage.clientWidth, (1 - p.y) / 2 * stage.clientHeight, p.z]; };
  let asked = false, resting = 0;
  const draw = () => { if (!asked) { asked = true; requestAnimationFrame(paint); } };
  const paint = () => {
    asked = false;
    const w = stage.parentElement.clientWidth, h = stage.parentElement.clientHeight;
    const dpr = Math.min(2, window.devicePixelRatio || 1);
    renderer.setPixelRatio(dpr); renderer.setSize(w, h, false);
    camera.aspect = w / h; aim();
    const p = planeOf();
    uniforms.dpr.value = dpr; uniforms.cut.value = state.cut ? 1 : 0; uniforms.plane.value.copy(p.n); uniforms.offset.value = p.at;
    renderer.render(scene, camera);
    for (const e of pins) {
      const [x, y, z] = project(e.where());
      e.button.style.left = `${x}px`; e.button.style.top = `${y}px`;
      e.button.hidden = !state.shown.includes(e.pin.half) || z > 1;
      e.button.classList.toggle('on', state.pin === e.pin.number);
    }
    handle.hidden = !state.cut;
    if (state.cut) {
      const c = p.middle.clone(); c.z = p.top;
      c.addScaledVector(p.n, p.at - c.dot(p.n));
      const [x, y] = project(c);
      handle.style.left = `${Math.min(w - 20, Math.max(20, x))}px`; handle.style.top = `${Math.min(h - 20, Math.max(20, y))}px`;
      handle.setAttribute('aria-valuenow', Math.round(100 * state.cutAt));
      handle.setAttribute('aria-valuetext', `${show(p.at - p.lo, 'length', inch() ? 3 : 1)} along the plane's normal`);
    }
    clearTimeout(resting); resting = setTimeout(() => veil(0), 160);
    document.documentElement.dataset.painted = String(1 + Number(document.documentElement.dataset.painted || 0));
  };

  // ---- pins
  // once the view rests: pins whose place lies behind material say so
  // one after another, so that the view stays at hand
  const veil = (k) => {
    const e = pins[k];
    if (!e) return;
    if (!e.button.hidden) {
      const p = planeOf(), to = e.where(), far = to.distanceTo(camera.position);
      raycaster.set(camera.position, to.clone().sub(camera.position).normalize());
      const hits = raycaster.intersectObjects(state.shown.map((i) => D.halves[i].mesh), false);
      const hit = hits.find((h) => !state.cut || h.point.dot(p.n) <= p.at);
      e.button.classList.toggle('behind', !!hit && hit.distance < far - 0.004 * sphere.r);
    }
    resting = setTimeout(() => veil(k + 1), 0);
  };
  const pins = D.pins.map((pin) => {
    const button = document.createElement('button');
    button.type = 'button'; button.className = 'pin'; button.textContent = pin.number; button.tabIndex = -1;
    button.title = `Finding ${pin.number}: ${pin.check}`;
    button.appendChild(document.createElement('i'));
    button.addEventListener('click', () => choose(pin.number, false));
    pinBox.appendChild(button);
    return { pin, button, where: () => new THREE.Vector3(...pin.at).applyMatrix4(matrixOf(pin.half)) };
  });
  const still = matchMedia('(prefers-reduced-motion: reduce)');
  const fly = (to, r, phi) => {
    const from = { t: target.clone(), r: sphere.r, phi: sphere.phi }, start = performance.now();
    const step = (now) => {
      const u = still.matches ? 1 : Math.min(1, (now - start) / 450), e = u * u * (3 - 2 * u);
      target.lerpVectors(from.t, to, e); sphere.r = from.r + (r - from.r) * e; sphere.phi = from.phi + (phi - from.phi) * e;
      draw(); if (u < 1) requestAnimationFrame(step);
    };
    requestAnimationFrame(step);
  };
  const choose = (number, scroll) => {
    const found = pins.find((e) => e.pin.number === number);
    if (!found) return;
    state.pin = number;
    if (!state.shown.includes(found.pin.half)) { $('show').value = String(found.pin.half); setShown(); }
    const h = D.halves[found.pin.half];
    const wanted = { undercut: 'draft', draft: 'draft', reach: `left-${(h.best ?? 0) + 1}`, depth: `stickout-${(h.best ?? 0) + 1}` }[found.pin.check];
    if (wanted && h.questions.some((q) => q.key === wanted)) { state.question = wanted; $('question').value = wanted; recolour(); }
    document.querySelectorAll('.findings li').forEach((li) => li.classList.toggle('on', li.id === `finding-${number}`));
    const size = boundsOf().getSize(new THREE.Vector3()).length();
    spot(found.pin.half, new THREE.Vector3(...found.pin.at), null);
    if (state.cut) face(); else fly(found.where(), size * 0.95, 0.62);
    if (scroll) document.querySelector('.view').scrollIntoView({ behavior: still.matches ? 'auto' : 'smooth', block: 'start' });
  };
  document.querySelectorAll('button.pin[data-pin]').forEach((b) => b.addEventListener('click', () => choose(Number(b.dataset.pin), true)));

  // ---- the tool, stood on the coarse height map
  const topAt = (h, x, y) => {
    const g = h.heights, i = Math.floor((x - g.origin[0]) / g.cell), j = Math.floor((y - g.origin[1]) / g.cell);
    return i < 0 || j < 0 || i >= g.nx || j >= g.ny ? -Infinity : h.top[j * g.nx + i];
  };
  const lowest = (h, x, y, rise, reach) => {
    const g = h.heights; let best = -Infinity;
    const i0 = Math.max(0, Math.floor((x - reach - g.origin[0]) / g.cell)), i1 = Math.min(g.nx - 1, Math.floor((x + reach - g.origin[0]) / g.cell));
    const j0 = Math.max(0, Math.floor((y - reach - g.origin[1]) / g.cell)), j1 = Math.min(g.ny - 1, Math.floor((y + reach - g.origin[1]) / g.cell));
    for (let j = j0; j <= j1; j++) for (let i = i0; i <= i1; i++) {
      const d = Math.hypot(g.origin[0] + (i + 0.5) * g.cell - x, g.origin[1] + (j + 0.5) * g.cell - y);
      if (d > reach) continue;
      const z = h.top[j * g.nx + i] + rise(d);
      if (z > best) best = z;
    }
    return best;
  };
  // centre of the corner ball, on the axis, nearest to p
  const stand = (h, c, p) => {
    const flat = c.radius - c.corner, g = h.heights;
    // the place that leaves most has its centre from the check itself
    if (c.worst && Math.hypot(c.worst.at[0] - p.x, c.worst.at[1] - p.y, c.worst.at[2] - p.z) < 0.05) {
      const at = new THREE.Vector3(...c.worst.centre);
      return { at, left: Math.max(0, at.distanceTo(p) - c.corner) };
    }
    const rise = (d) => { const e = Math.max(0, d - flat); return c.corner > e ? Math.sqrt(c.corner * c.corner - e * e) : 0; };
    let best = null;
    // heights are the largest of each cell: a wall may stand up to two cells nearer than it does
    const reach = c.radius + 2.5 * g.cell;
    const n = Math.min(40, Math.max(10, Math.ceil(1.5 * reach / g.cell)));
    const step = reach / n;
    for (let j = -n; j <= n; j++) for (let i = -n; i <= n; i++) {
      const x = p.x + i * step, y = p.y + j * step;
      if (i * i + j * j > n * n) continue;
      const z = Math.max(lowest(h, x, y, rise, c.radius), p.z);
      const d = Math.hypot(Math.max(0, Math.hypot(i * step, j * step) - flat), z - p.z);
      if (!best || d < best.d - 1e-9) best = { d, x, y, z };
    }
    return best && { at: new THREE.Vector3(best.x, best.y, best.z), left: Math.max(0, best.d - c.corner) };
  };
  const clay = (colour, opacity) => new THREE.MeshBasicMaterial({ color: colour, transparent: true, opacity, depthWrite: opacity > 0.9, side: THREE.DoubleSide });
  const placeTool = () => {
    for (const child of [...toolGroup.children]) { child.geometry.dispose(); toolGroup.remove(child); }
    const s = state.spot; if (!s || !state.cut || state.tool < 0) return null;
    const h = D.halves[s.half], c = h.cutters[state.tool]; if (!c) return null;
    const stood = stand(h, c, s.at); if (!stood) return null;
    const tip = stood.at.z - c.corner, flat = c.radius - c.corner, V = THREE.Vector2;
    const outline = [new V(0, 0)];
    for (let k = 0; k <= 24; k++) { const a = k / 24 * Math.PI / 2; outline.push(new V(flat + c.corner * Math.sin(a), c.corner * (1 - Math.cos(a)))); }
    const flutes = Math.max(c.corner, c.flutes_to ?? c.stickout);
    outline.push(new V(c.radius, flutes));
    const parts = [[outline, 0x56b4e9]];
    for (const g of c.segments) {
      const to = g.to ?? g.from + 30;
      parts.push([[new V(0, g.from), new V(g.r0, g.from), new V(g.r1, to), new V(0, to)], g.part === 'holder' ? 0xe69f00 : 0x9fd2f0]);
    }
    const m = matrixOf(s.half);
    toolGroup.matrixAutoUpdate = false;
    toolGroup.matrix.copy(m).multiply(new THREE.Matrix4().makeTranslation(stood.at.x, stood.at.y, tip)).multiply(new THREE.Matrix4().makeRotationX(Math.PI / 2));
    toolGroup.updateMatrixWorld(true);
    for (const [points, colour] of parts) {
      toolGroup.add(new THREE.Mesh(new THREE.LatheGeometry(points, 48), clay(colour, 0.55)));
      const rim = [];
      for (const p of points) if (p.x > 0) for (let k = 0; k < 48; k++) { const a = k / 48 * 2 * Math.PI, b = (k + 1) / 48 * 2 * Math.PI; rim.push(p.x * Math.cos(a), p.y, p.x * Math.sin(a), p.x * Math.cos(b), p.y, p.x * Math.sin(b)); }
      const e = new THREE.BufferGeometry(); e.setAttribute('position', new THREE.BufferAttribute(new Float32Array(points === outline ? rim.slice(-288) : rim), 3));
      toolGroup.add(new THREE.LineSegments(e, new THREE.LineBasicMaterial({ color: 0x1c1e21 })));
    }
    // least stickout at which the holder keeps its clearance here
    let need = 0;
    for (const g of c.segments) if (g.part === 'holder') {
      const r = Math.max(g.r0, g.r1) + D.clearance.holder;
      need = Math.max(need, lowest(h, stood.at.x, stood.at.y, () => 0, r) + D.clearance.holder - tip - (g.from - c.stickout));
    }
    return { left: stood.left, need, cutter: c, axis: stood.at };
  };

  // ---- a place and its figures
  const triangleNear = (h, p) => {
    let best = -1, far = Infinity;
    const a = h.mesh.geometry.attributes.position.array;
    for (let t = 0; t < h.triangles; t++) {
      if (h.kinds[t] === 0) continue;
      const x = (a[9 * t] + a[9 * t + 3] + a[9 * t + 6]) / 3 - p.x, y = (a[9 * t + 1] + a[9 * t + 4] + a[9 * t + 7]) / 3 - p.y, z = (a[9 * t + 2] + a[9 * t + 5] + a[9 * t + 8]) / 3 - p.z;
      const d = x * x + y * y + z * z; if (d < far) { far = d; best = t; }
    }
    return best;
  };
  const spot = (k, at, triangle) => {
    const h = D.halves[k];
    state.spot = { half: k, at, triangle: triangle ?? triangleNear(h, at) };
    if (state.cut) setCutThrough(at.clone().applyMatrix4(matrixOf(k)));
    tell(); draw();
  };
  // turns the plane into that of the place and the tool's axis, and looks at it
  const face = () => {
    const s = state.spot; if (!s || !state.cut) return;
    const m = matrixOf(s.half), p = s.at.clone().applyMatrix4(m), tool = placeTool();
    let r = boundsOf().getSize(new THREE.Vector3()).length() * 0.5;
    if (tool) {
      const a = tool.axis.clone().applyMatrix4(m), d = [p.x - a.x, p.y - a.y];
      if (Math.hypot(...d) > 0.02) {
        const t = Math.atan2(d[1], d[0]) * 180 / Math.PI;
        state.turn = t > 90 ? t - 180 : t < -90 ? t + 180 : t;
        $('cut-turn').value = state.turn;
      }
      r = Math.min(r, Math.max(22 * tool.cutter.radius, state.question.startsWith('stickout') ? 3.2 * tool.cutter.stickout : 0));
    }
    setCutThrough(p);
    const n = planeOf().n;
    sphere.theta = Math.atan2(n.y, n.x) + 0.3;
    fly(p, r, 1.2);
  };
  const tell = () => {
    const tool = placeTool();
    const s = state.spot, out = $('readout');
    if (!s) { out.textContent = 'Click a place for its figures.'; return; }
    const h = D.halves[s.half]; out.textContent = '';
    const line = (text, strong) => { const e = document.createElement(strong ? 'b' : 'div'); e.textContent = text; out.appendChild(e); };
    const d = inch() ? 3 : 2;
    line(`${h.title}${state.pin ? `, finding ${state.pin}` : ''}`, true);
    if (h.corner) line(`X ${number(s.at.x - h.corner[0], 'length', d)}, Y ${number(s.at.y - h.corner[1], 'length', d)} from the corner`);
    line(`${show(Math.abs(s.at.z), 'length', d)} ${s.at.z > 0 ? 'above' : 'below'} parting`);
    const file = s.at.clone().applyMatrix4(new THREE.Matrix4().fromArray(h.to_file));
    line(`file ${['x', 'y', 'z'].map((c) => number(file[c], 'length', d)).join(', ')}`);
    if (s.triangle >= 0) {
      if (h.kinds[s.triangle] === 2) line(h.parting ? 'seen by neither half' : 'hidden from the tool axis');
      for (const q of h.questions) {
        if (q.key === 'depth' || (q.cutter !== null && q.key !== state.question)) continue;
        const v = valueOf(q, s.triangle);
        if (!isNaN(v)) line(`${q.title}: ${show(v, q.quantity, q.quantity === 'angle' ? 1 : d + 1)}${beyond(q.limit, v) ? ', beyond the limit' : ''}`);
      }
    }
    if (tool) line(`${tool.cutter.name} here: holder clears at about ${show(tool.need, 'length', inch() ? 2 : 1)} stickout, drawn at ${show(tool.cutter.stickout, 'length', inch() ? 2 : 1)}`);
  };
  const pick = (x, y) => {
    const r = stage.getBoundingClientRect();
    raycaster.setFromCamera(new THREE.Vector2((x - r.left) / r.width * 2 - 1, 1 - (y - r.top) / r.height * 2), camera);
    const p = planeOf();
    const hits = raycaster.intersectObjects(state.shown.map((k) => D.halves[k].mesh), false).filter((hit) => !state.cut || hit.point.dot(p.n) <= p.at);
    if (!hits.length) return;
    const k = D.halves.findIndex((h) => h.mesh === hits[0].object);
    state.pin = 0;
    document.querySelectorAll('.findings li.on').forEach((li) => li.classList.remove('on'));
    spot(k, hits[0].point.clone().applyMatrix4(matrixOf(k).invert()), hits[0].faceIndex);
  };

  // ---- pointer and keys
  const turn = (dx, dy) => { sphere.theta -= dx; sphere.phi = Math.min(3.1, Math.max(0.03, sphere.phi - dy)); draw(); };
  const pan = (dx, dy) => {
    const u = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 0), v = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 1);
    const s = 2 * sphere.r * Math.tan(15 * Math.PI / 180) / stage.clientHeight;
    target.addScaledVector(u, -dx * s).addScaledVector(v, dy * s); draw();
  };
  const zoom = (f) => { sphere.r = Math.min(4000, Math.max(2, sphere.r * f)); draw(); };
  const fingers = new Map(); let moved = 0, spread = 0;
  stage.addEventListener('pointerdown', (e) => { stage.setPointerCapture(e.pointerId); fingers.set(e.pointerId, [e.clientX, e.clientY]); if (fingers.size === 1) moved = 0; spread = 0; });
  stage.addEventListener('pointermove', (e) => {
    const last = fingers.get(e.pointerId); if (!last) return;
    const dx = e.clientX - last[0], dy = e.clientY - last[1];
    fingers.set(e.pointerId, [e.clientX, e.clientY]); moved += Math.abs(dx) + Math.abs(dy);
    if (fingers.size === 2) {
      const [a, b] = [...fingers.values()], s = Math.hypot(a[0] - b[0], a[1] - b[1]);
      if (spread) zoom(spread / s); spread = s; pan(dx / 2, dy / 2);
    } else if (e.buttons & 2 || e.shiftKey) pan(dx, dy);
    else turn(dx * 0.008, dy * 0.008);
  });
  const up = (e) => { const one = fingers.size === 1 && fingers.has(e.pointerId); fingers.delete(e.pointerId); spread = 0; if (one && moved < 6 && e.type === 'pointerup' && e.button === 0) pick(e.clientX, e.clientY); };
  stage.addEventListener('pointerup', up); stage.addEventListener('pointercancel', up);
  stage.addEventListener('contextmenu', (e) => e.preventDefault());
  stage.addEventListener('wheel', (e) => { e.preventDefault(); zoom(Math.exp(e.deltaY * 0.001)); }, { passive: false });
  stage.addEventListener('keydown', (e) => {
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    if (arrows) { if (e.shiftKey) pan(-30 * arrows[0], -30 * arrows[1]); else turn(-0.12 * arrows[0], -0.12 * arrows[1]); }
    else if (e.key === '+' || e.key === '=') zoom(0.87);
    else if (e.key === '-') zoom(1.15);
    else if (e.key === '0') { home(); draw(); }
    else return;
    e.preventDefault();
  });
  let grip = null;
  handle.addEventListener('pointerdown', (e) => { handle.setPointerCapture(e.pointerId); grip = [e.clientX, e.clientY]; });
  handle.addEventListener('pointermove', (e) => {
    if (!grip) return;
    const p = planeOf(), a = project(p.middle), b = project(p.middle.clone().add(p.n));
    const d = [b[0] - a[0], b[1] - a[1]], n2 = d[0] * d[0] + d[1] * d[1];
    const mm = n2 > 1e-6 ? ((e.clientX - grip[0]) * d[0] + (e.clientY - grip[1]) * d[1]) / n2 : 0;
    grip = [e.clientX, e.clientY]; moveCut(mm / (p.hi - p.lo));
  });
  handle.addEventListener('pointerup', () => { grip = null; });
  handle.addEventListener('keydown', (e) => {
    const by = { ArrowLeft: -0.01, ArrowDown: -0.01, ArrowRight: 0.01, ArrowUp: 0.01, PageUp: 0.1, PageDown: -0.1 }[e.key];
    if (by) { moveCut(by); e.preventDefault(); }
  });
  const moveCut = (by) => { state.cutAt = Math.min(1, Math.max(0, state.cutAt + by)); $('cut-at').value = 100 * state.cutAt; draw(); };

  // ---- choices
  const fillQuestions = () => {
    const select = $('question'); select.textContent = '';
    const seen = new Set();
    for (const k of state.shown) for (const q of D.halves[k].questions) if (!seen.has(q.key)) {
      seen.add(q.key); const o = document.createElement('option'); o.value = q.key; o.textContent = q.title; select.appendChild(o);
    }
    if (state.shown.includes(0) && D.halves[0].ribbon) {
      seen.add(MISMATCH); const o = document.createElement('option'); o.value = MISMATCH; o.textContent = D.halves[0].ribbon.title; select.appendChild(o);
    }
    if (!seen.has(state.question)) [state.question] = seen;
    select.value = state.question;
    const tools = $('tool'); tools.textContent = '';
    const none = document.createElement('option'); none.value = '-1'; none.textContent = 'none'; tools.appendChild(none);
    half().cutters.forEach((c, i) => { if (!c) return; const o = document.createElement('option'); o.value = i; o.textContent = c.name; tools.appendChild(o); });
    tools.value = String(state.tool);
  };
  const setShown = () => {
    const v = $('show').value;
    state.shown = v === 'pair' ? [0, 1] : [Number(v)];
    $('open-box').hidden = v !== 'pair';
    if (state.spot && !state.shown.includes(state.spot.half)) { state.spot = null; }
    fillQuestions(); arrange(); home(); recolour(); tell(); draw();
  };
  $('show').addEventListener('change', () => { state.pin = 0; setShown(); });
  $('question').addEventListener('change', (e) => { state.question = e.target.value; recolour(); tell(); draw(); });
  $('open').addEventListener('input', (e) => { state.open = e.target.value / 100; arrange(); fit(); tell(); draw(); });
  $('cut').addEventListener('change', (e) => {
    state.cut = e.target.checked;
    if (state.cut && state.tool < 0) { state.tool = half().best ?? 0; $('tool').value = String(state.tool); }
    face(); tell(); draw();
  });
  $('cut-at').addEventListener('input', (e) => { state.cutAt = e.target.value / 100; draw(); });
  $('cut-turn').addEventListener('input', (e) => {
    state.turn = Number(e.target.value);
    if (state.spot) setCutThrough(state.spot.at.clone().applyMatrix4(matrixOf(state.spot.half)));
    draw();
  });
  $('tool').addEventListener('change', (e) => { state.tool = Number(e.target.value); tell(); draw(); });
  document.querySelectorAll('input[name=unit]').forEach((i) => i.addEventListener('change', () => { arrange(); legend(); tell(); draw(); }));
  new ResizeObserver(draw).observe(stage.parentElement);
  addEventListener('beforeprint', () => { paint(); });

  // begin where the worst finding is
  const first = pins.find((e) => e.pin.verdict === 'fail') || pins[0];
  const part = D.halves.findIndex((h) => h.parting);
  if (part >= 0) $('show').value = String(part);
  else if (first) $('show').value = String(first.pin.half);
  setShown();
  // for tests: where a place of a half stands on the canvas
  document.documentElement.dataset.ready = 'yes';
  const legendColour = (v) => {
    const { lo, hi } = shownRange(), i = Math.round(Math.min(1, Math.max(0, (v - lo) / (hi - lo || 1))) * 255);
    return [0, 1, 2].map((b) => Math.round(255 * ramp[3 * i + b]));
  };
  // the k-th of some visible triangles: where it is drawn and what value it has
  const sample = (k) => {
    const h = half(), q = questionOf(h), t = Math.floor((k + 0.5) / 60 * h.triangles), value = valueOf(q, t);
    if (isNaN(value)) return null;
    const a = h.mesh.geometry.attributes.position.array, m = [0, 1, 2].map((c) => (a[9 * t + c] + a[9 * t + 3 + c] + a[9 * t + 6 + c]) / 3);
    const [x, y] = project(new THREE.Vector3(...m).applyMatrix4(h.group.matrix));
    raycaster.setFromCamera(new THREE.Vector2(x / stage.clientWidth * 2 - 1, 1 - y / stage.clientHeight * 2), camera);
    const hit = raycaster.intersectObject(h.mesh, false)[0];
    return hit && hit.faceIndex === t ? { x, y, value } : null;
  };
  window.moldvetView = { legendColour, sample };
})();
