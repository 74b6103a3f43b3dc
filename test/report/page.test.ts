/** The HTML page in a real browser: it draws, needs nothing from outside, and says everything also without its script. */
import { existsSync, mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { type Browser, type BrowserContextOptions, chromium, type Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { htmlOf } from '../../sim/report/html.ts';
import { plottedOf, signalsBehindBands, signalsToPlot } from '../../sim/report/plotted.ts';
import { call, shipped } from '../cli/capture.ts';
import { hostile, outcomeOf } from './runs.ts';

const browserPath = ['/usr/bin/chromium', '/usr/bin/chromium-browser'].find((path) => existsSync(path));
if (browserPath === undefined) process.stderr.write('page: not tried in a browser, as Debian’s chromium is not here\n');

const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
// biome-ignore lint/suspicious/noTemplateCurlyInString: a hostile name, to be escaped and never filled in.
const hostileName = '</script><script>alert(1)</script><img src=x onerror=alert(2)> "\'&lt; ${x}';

describe('page: data', () => {
  const outcome = outcomeOf(`${shipped}/cold-start.yaml`, 'all');
  const { scenario, trace } = outcome.run;

  test('the arming window lies where the bench puts it: neutral 1500 us, window 20 us to each side', () => {
    const { signals } = plottedOf(outcome.run, signalsToPlot(scenario));
    const pulse = signals.find(({ name }) => name === 'left.pulse')!;
    const aim = pulse.bands.find(({ role }) => role === 'aim')!;
    expect([aim.least, aim.most].map((edge) => Math.round(edge))).toEqual([1480, 1520]);
    expect(pulse.bands).toContainEqual(expect.objectContaining({ role: 'bound', least: 2100, most: 2100 }));
    expect(signalsBehindBands(scenario)).toContain('left.neutral');
  });

  test('thinning keeps the least and the greatest value, and the order of time', () => {
    const column = trace.columns.reduce((one, other) => (other.length > one.length ? other : one));
    expect(column.length).toBeGreaterThan(3000);
    const [signal] = plottedOf(outcome.run, [column.signal.name]).signals;
    const values = [...column].map(({ value }) => value);
    expect(signal!.seconds.length).toBeLessThanOrEqual(3001);
    expect(signal!.seconds).toEqual([...signal!.seconds].sort((a, b) => a - b));
    const plotted = signal!.values.filter((value) => value !== null);
    expect(Math.max(...plotted)).toBeCloseTo(Math.max(...values), 4);
    expect(Math.min(...plotted)).toBeCloseTo(Math.min(...values), 4);
  });
});

describe.runIf(browserPath !== undefined)('page: in a browser', () => {
  let browser: Browser;
  const told: string[] = [];

  beforeAll(async () => {
    browser = await chromium.launch({ executablePath: browserPath!, args: ['--no-sandbox'] });
    const outcomes = [
      outcomeOf(`${shipped}/idle-one-too-high.yaml`, 'all'),
      outcomeOf(`${shipped}/cold-start.yaml`, 'all'),
      hostile(hostileName),
    ];
    const signals = outcomes.map(({ run }) => signalsToPlot(run.scenario));
    writeFileSync(join(folder, 'report.html'), [...htmlOf(outcomes, { toolVersion: '0.1.0', signals })].join(''));
  }, 60_000);
  afterAll(() => browser.close());

  async function open(options: BrowserContextOptions): Promise<Page> {
    told.length = 0;
    const page = await (await browser.newContext(options)).newPage();
    page.on('console', (message) => told.push(message.text()));
    page.on('pageerror', (error) => told.push(error.message));
    page.on('dialog', (dialog) => void told.push(dialog.message()));
    page.on('request', (request) => told.push(request.url()));
    await page.goto(`file://${folder}/report.html`);
    return page;
  }

  test.each([
    ['wide and light', { viewport: { width: 1200, height: 800 } }],
    ['narrow and dark', { viewport: { width: 360, height: 740 }, colorScheme: 'dark' as const }],
  ])('%s: all plots are drawn, nothing is asked for, nothing goes wrong, nothing sticks out', async (_, options) => {
    const page = await open(options);
    for (const section of await page.locator('.run').all()) {
      await section.scrollIntoViewIfNeeded();
      await section.locator('canvas').first().waitFor();
      expect(await section.locator('canvas').count()).toBeGreaterThan(3);
    }
    expect(told).toEqual([`file://${folder}/report.html`]);
    expect(await page.evaluate('document.documentElement.scrollWidth - innerWidth')).toBeLessThanOrEqual(0);
    expect(await page.locator('#run-2 h2').textContent()).toContain(hostileName);
    await page.context().close();
  });

  test('pressing an instant of a cause shows it in all plots', async () => {
    const page = await open({ viewport: { width: 1200, height: 800 } });
    await page.locator('#run-0 canvas').first().waitFor();
    const before = await page.locator('#run-0 canvas').first().screenshot();
    await page.locator('#run-0 summary').first().click();
    await page.locator('#run-0 .instant').first().click();
    await page.waitForFunction('scrollY > 0');
    expect((await page.locator('#run-0 canvas').first().screenshot()).equals(before)).toBe(false);
    expect(told).toHaveLength(1);
    await page.context().close();
  });

  test('without its script the page still says verdict, cause, cure and cautions', async () => {
    const page = await open({ javaScriptEnabled: false });
    const text = await page.locator('body').textContent();
    for (const words of [
      '3 scenarios hold',
      '1536 us is 16 us above its arming window',
      'Cure:',
      'wheels off the ground',
    ])
      expect(text).toContain(words);
    await page.context().close();
  });
});

describe('run: report', () => {
  test('writes the page beside the verdicts, and refuses another ending', async () => {
    const file = join(folder, 'out.html');
    const { status, err } = await call(['run', `${shipped}/cold-start.yaml`, '--report', file]);
    expect({ status, err }).toEqual({ status: 0, err: '' });
    expect(existsSync(file)).toBe(true);
    const refused = await call(['run', `${shipped}/cold-start.yaml`, '--report', join(folder, 'out.pdf')]);
    expect(refused.status).toBe(2);
    expect(refused.err).toContain('.html');
  });
});
