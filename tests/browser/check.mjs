// Looks at pages in a real browser: nothing missing, nothing from elsewhere, nothing cut, readable by all.
import { chromium } from 'playwright-core';
import { readFileSync, readdirSync } from 'node:fs';
import { createRequire } from 'node:module';

const folder = process.argv[2];
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const failures = [];
const check = (holds, what) => { if (!holds) failures.push(what); };

// Sections that each kind of page must have.
const SECTIONS = {
  'proof.html': ['promise', 'rate', 'losses', 'line', 'watch', 'stations', 'limits', 'levels', 'course', 'passes', 'stops',
    'inputs', 'cautions', 'again', 'scenario'],
  'limits.html': ['gains', 'again', 'scenario'],
  'compare.html': ['differences', 'designs', 'again', 'scenario'],
  'screen.html': ['factors', 'again', 'scenario'],
  'size.html': ['values', 'again', 'scenario'],
  'sweep.html': ['best', 'output-1', 'points', 'again', 'file', 'scenario'],
  'random.html': ['best', 'output-1', 'points', 'again'],
};
// Width between the margins, px at 96 to the inch: 210 mm and 8.5 in less twice 15 mm.
const PAPER = { A4: 680, Letter: 702 };

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
    '--disable-component-update', '--disable-sync'],
});

async function open(name, options) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  page.on('console', (message) => check(message.type() !== 'error', `${name}: console says ${message.text()}`));
  page.on('pageerror', (error) => check(false, `${name}: ${error}`));
  page.on('request', (request) => check(request.url().startsWith(`file://${folder}`), `${name} asks for ${request.url()}`));
  await page.goto(`file://${folder}/${name}`);
  return page;
}

async function accessible(page, what) {
  await page.evaluate(axe);
  const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ['violations'] }));
  for (const one of found.violations) {
    const where = one.nodes.slice(0, 3).map((node) => `${node.target} (${node.failureSummary?.replace(/\s+/g, ' ')})`);
    check(false, `${what}: ${one.id}: ${one.help}: ${where.join('; ')}`);
  }
}

const width = (page) => page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);

for (const name of readdirSync(folder).filter((name) => name.endsWith('.html'))) {
  for (const colorScheme of ['light', 'dark']) {
    const page = await open(name, { viewport: { width: 1200, height: 900 }, colorScheme });
    for (const id of SECTIONS[name] ?? []) {
      check((await page.locator(`section#${id} h2`).count()) === 1, `${name}: no section ${id}`);
    }
    check((await width(page)) <= 0, `${name}: wider than a screen of 1200 px`);
    await page.evaluate(() => document.querySelectorAll('details').forEach((one) => { one.open = true; }));
    await accessible(page, `${name}, ${colorScheme}`);
    // Links lead to places that exist; the first one that the keyboard reaches skips to the content.
    const lost = await page.evaluate(() => [...document.querySelectorAll('a[href]')]
      .filter((a) => !a.hash || !document.getElementById(a.hash.slice(1))).map((a) => a.href));
    check(lost.length === 0, `${name}: links lead nowhere: ${lost}`);
    await page.keyboard.press('Tab');
    check((await page.evaluate(() => document.activeElement.className)) === 'skip', `${name}: no skip link`);
    // Names of parts are used once.
    const twice = await page.evaluate(() => {
      const ids = [...document.querySelectorAll('[id]')].map((one) => one.id);
      return ids.filter((id, n) => ids.indexOf(id) !== n);
    });
    check(twice.length === 0, `${name}: ids used twice: ${twice}`);
    await page.context().close();
  }
  const phone = await open(name, { viewport: { width: 360, height: 740 }, isMobile: true, hasTouch: true });
  check((await width(phone)) <= 0, `${name}: scrolls sideways on a phone by ${await width(phone)} px`);
  await accessible(phone, `${name}, phone`);
  await phone.context().close();

  for (const [format, room] of Object.entries(PAPER)) {
    const page = await open(name, { viewport: { width: room, height: 900 } });
    await page.emulateMedia({ media: 'print' });
    const cut = await page.evaluate((room) => [...document.querySelectorAll('table, svg, pre, dl')]
      .filter((one) => one.getClientRects().length > 0 && one.getBoundingClientRect().right > room + 1)
      .map((one) => one.querySelector('caption, title')?.textContent ?? one.tagName), room);
    check(cut.length === 0, `${name}: cut on ${format}: ${cut}`);
    const split = await page.evaluate(() => [...document.querySelectorAll('tr, figure')]
      .filter((one) => getComputedStyle(one).breakInside !== 'avoid').length);
    check(split === 0, `${name}: ${split} rows or figures may be split between pages`);
    const pdf = await page.pdf({ format, preferCSSPageSize: false });
    check(pdf.subarray(0, 5).toString() === '%PDF-' && pdf.length > 20_000, `${name}: no print on ${format}`);
    await page.context().close();
  }
}

// The shift that can be watched: it plays, stands, seeks to the same from both sides, and jumps to what is of note.
const film = await open('proof.html', { viewport: { width: 1200, height: 900 } });
const clock = () => film.locator('.replay-clock').textContent();
const shown = () => film.evaluate(() => [...document.querySelectorAll('.replay .now')].map((one) => one.textContent).join('|'));
const seek = (frame) => film.evaluate((frame) => document.querySelector('.replay').player.goTo(frame), frame);
const begin = await clock();
await film.selectOption('.replay-speed', '100');
await film.locator('.replay-play').click();
await film.waitForFunction((begin) => document.querySelector('.replay-clock').textContent !== begin, begin);
await film.locator('.replay-play').click();
const [paused, states] = [await clock(), await shown()];
check(paused !== begin, 'the film does not play');
check((await film.locator('.replay-play').textContent()) === 'Play', 'the film does not pause');
const frame = await film.evaluate(() => Math.floor(document.querySelector('.replay').player.frame));
await seek(0);
check((await clock()) === begin, 'the film does not go back');
await seek(frame);
check((await shown()) === states, 'seeking does not show what playing shows');
await seek(300000);
await seek(frame);
check((await shown()) === states, 'seeking back does not show what playing shows');
await film.locator('.replay-next').click();
check(/ for \d+ s$/.test(await film.locator('.replay-said').textContent()), 'no jump to what is of note');
check(await film.evaluate(() => {
  const canvas = document.querySelector('.replay canvas.parts');
  return canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data.some((byte) => byte > 0);
}), 'no parts are on their way');
const size = readFileSync(`${folder}/proof.html`).length;
check(size < 2_500_000, `a report with an hour to watch takes ${size} bytes`);
await film.context().close();

// As many parts in sight as a line ever has. How smoothly they move is told, not judged: a busy machine says nothing.
const many = await open('belts.html', { viewport: { width: 1200, height: 900 } });
const told = await many.evaluate(async () => {
  const root = document.querySelector('.replay'), { player } = root, frames = [];
  root.querySelector('.replay-speed').value = '1000';
  root.querySelector('.replay-speed').dispatchEvent(new Event('change'));
  const showParts = player.showParts.bind(player);
  let most = 0, ms = 0;
  player.showParts = () => {
    const begun = performance.now();
    showParts();
    ms += performance.now() - begun;
    most = Math.max(most, player.inSight);
  };
  player.toggle();
  await new Promise((done) => requestAnimationFrame(function next(now) {
    frames.push(now);
    if (frames.length < 150) requestAnimationFrame(next); else done();
  }));
  const steps = frames.slice(1).map((now, n) => now - frames[n]).sort((a, b) => a - b);
  const natural = root.querySelector('svg.drawing').getAttribute('width');
  return { most, ms: ms / frames.length, middle: steps[74], late: steps[141], stretched: root.querySelector('svg.drawing').clientWidth / natural };
});
check(told.most >= 500, `only ${told.most} parts are in sight`);
check(told.stretched < 1.3, `the drawing is ${told.stretched} times its size`);
console.log(`${told.most} parts in sight: ${told.ms.toFixed(2)} ms of script a frame; frames ${told.middle.toFixed(1)} ms apart, 95 % within ${told.late.toFixed(1)} ms`);
await many.context().close();

const hostile = await open('hostile.html', {});
check((await hostile.evaluate(() => window.ran)) === undefined, 'text of a file was run');
check((await hostile.locator('h1').textContent()).includes('<script>'), 'text of a file is not shown as it stands');
check((await hostile.locator('td, th', { hasText: '<script>window.ran = 2</script>' }).count()) > 0, 'the name of a station is not shown as it stands');
const drawing = await open('line.svg', {});
check((await drawing.evaluate(() => document.documentElement.localName)) === 'svg', 'the drawing is no SVG');
check((await drawing.locator('g.station').count()) === 9, 'the drawing lacks stations');
await browser.close();

failures.forEach((what) => console.error(`FAILED ${what}`));
console.log(failures.length === 0 ? 'pages: all well' : `pages: ${failures.length} failures`);
process.exit(failures.length === 0 ? 0 : 1);
