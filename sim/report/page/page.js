/*
 * Draws the plots of a page: each run's signals over one time axis. A stretch dragged with the mouse, or chosen with the
 * buttons, is shown in all plots of the run; the cursor is common to them too.
 */
(() => {
  const COLOURS = ['#0072b2', '#d55e00', '#009e73', '#cc79a7', '#b58900', '#56b4e9', '#8a6d3b', '#7f7f7f'];
  const AXIS_WIDTH = 76;
  let isPrinting = false;
  const drawn = [];

  const colour = (name) => {
    // A page that is read in the dark is printed on white paper all the same.
    const printed = { '--ink': '#22241f', '--rule': '#d8d6cc', '--paper': '#ffffff' }[name];
    if (isPrinting && printed !== undefined) return printed;
    return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  };

  const axes = (plotted) => [
    {
      stroke: () => colour('--ink'),
      grid: { stroke: () => colour('--rule'), width: 1 },
      ticks: { stroke: () => colour('--rule') },
      values: (_, marks) => marks.map((mark) => `${Number(mark.toFixed(6))} s`),
    },
    {
      stroke: () => colour('--ink'),
      grid: { stroke: () => colour('--rule'), width: 1 },
      ticks: { stroke: () => colour('--rule') },
      size: AXIS_WIDTH,
      ...plotted,
    },
  ];

  const fillBands = (bands) => (plot) => {
    const { ctx, bbox } = plot;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    for (const { least, most, role } of bands) {
      const top = plot.valToPos(most, 'y', true);
      const bottom = plot.valToPos(least, 'y', true);
      if (role === 'aim' || role === 'limit') {
        ctx.fillStyle = colour(role === 'aim' ? '--aim' : '--limit');
        ctx.fillRect(bbox.left, top, bbox.width, bottom - top);
        continue;
      }
      ctx.strokeStyle = colour(role === 'bound' ? '--bound' : '--faint');
      ctx.lineWidth = devicePixelRatio;
      ctx.setLineDash([6 * devicePixelRatio, 4 * devicePixelRatio]);
      for (const y of new Set([top, bottom])) {
        ctx.beginPath();
        ctx.moveTo(bbox.left, y);
        ctx.lineTo(bbox.left + bbox.width, y);
        ctx.stroke();
      }
    }
    ctx.restore();
  };

  const fillModes = (signals) => (plot) => {
    const { ctx, bbox } = plot;
    const height = bbox.height / signals.length;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    ctx.font = `${12 * devicePixelRatio}px system-ui, sans-serif`;
    ctx.textBaseline = 'middle';
    ctx.textAlign = 'left';
    signals.forEach(({ seconds, values, modes }, row) => {
      const top = bbox.top + row * height + 2;
      seconds.forEach((at, index) => {
        const left = Math.max(bbox.left, plot.valToPos(at, 'x', true));
        const until = index + 1 < seconds.length ? plot.valToPos(seconds[index + 1], 'x', true) : left;
        const width = Math.min(until, bbox.left + bbox.width) - left;
        if (width <= 0 || values[index] === null) return;
        ctx.fillStyle = `${COLOURS[values[index] % COLOURS.length]}55`;
        ctx.fillRect(left, top, width, height - 4);
        const word = modes[values[index]] ?? '';
        if (ctx.measureText(word).width + 6 < width) {
          ctx.fillStyle = colour('--ink');
          ctx.fillText(word, left + 4, top + height / 2 - 2);
        }
      });
    });
    ctx.restore();
  };

  const modePlot = (signals) => {
    const instants = [...new Set(signals.flatMap(({ seconds }) => seconds))].sort((a, b) => a - b);
    const word = (signal, at) => {
      let index = signal.seconds.findLastIndex((seconds) => seconds <= at);
      if (index < 0) index = 0;
      return signal.modes[signal.values[index]] ?? '';
    };
    return {
      title: 'modes',
      height: 60 + 26 * signals.length,
      data: [instants, ...signals.map(() => instants.map(() => 0))],
      series: [
        { label: 'time', value: (_, at) => (at === null ? '' : `${at} s`) },
        ...signals.map((signal) => ({
          label: signal.name,
          paths: () => null,
          points: { show: false },
          value: (plot, _value, _series, index) => (index === null ? '' : word(signal, plot.data[0][index])),
        })),
      ],
      axes: axes({
        splits: () => signals.map((_, row) => signals.length - row - 0.5),
        values: () => signals.map(({ name }) => name.replace(/\.mode$/, '')),
        grid: { show: false },
      }),
      range: [0, signals.length],
      draw: fillModes(signals),
    };
  };

  const curvePlot = (signals) => {
    const data = uPlot.join(signals.map(({ seconds, values }) => [seconds, values]));
    const { unit } = signals[0];
    const bands = signals.flatMap((signal) => signal.bands);
    const numbers = signals.flatMap(({ values }) => values.filter((value) => value !== null));
    let least = Number.POSITIVE_INFINITY;
    let most = Number.NEGATIVE_INFINITY;
    for (const value of numbers) {
      if (value < least) least = value;
      if (value > most) most = value;
    }
    const near = bands.filter(({ role }) => role !== 'limit');
    for (const band of near) {
      least = Math.min(least, band.least);
      most = Math.max(most, band.most);
    }
    const room = (most - least) * 0.06 || Math.abs(most) * 0.1 || 1;
    const names = [
      ...new Set(
        near.map(({ name, role }) => `${role === 'bound' ? 'expected' : name}${role === 'bound' ? ` ${name}` : ''}`),
      ),
    ];
    const quantity = signals[0].group.split(' ').at(-1);
    return {
      title: `${quantity}${unit === '' ? '' : ` in ${unit}`}${names.length > 0 ? ` (${names.slice(0, 6).join(', ')})` : ''}`,
      height: 200,
      data,
      series: [
        { label: 'time', value: (_, at) => (at === null ? '' : `${at} s`) },
        ...signals.map(({ name, isHeld }, index) => ({
          label: name,
          stroke: COLOURS[index % COLOURS.length],
          width: 1.5,
          // Two of a kind often lie on each other: the one below shows through the gaps.
          ...(index > 0 ? { dash: [7, 5] } : {}),
          spanGaps: true,
          points: { show: false },
          ...(isHeld ? { paths: uPlot.paths.stepped({ align: 1 }) } : {}),
          value: (_, value) => (value === null || value === undefined ? '' : `${value} ${unit}`),
        })),
      ],
      axes: axes({}),
      range: [least - room, most + room],
      draw: fillBands(bands),
    };
  };

  const drawRun = (section, number) => {
    const { endSeconds, signals } = JSON.parse(section.querySelector('.data').textContent);
    const holder = section.querySelector('.plots');
    holder.replaceChildren();
    const groups = new Map();
    for (const signal of signals) groups.set(signal.group, [...(groups.get(signal.group) ?? []), signal]);
    const plots = [];
    let isMoving = false;
    const show = (from, until) => {
      const width = Math.min(endSeconds, Math.max(until - from, 1e-5));
      const start = Math.min(Math.max(0, from), endSeconds - width);
      isMoving = true;
      for (const plot of plots) plot.setScale('x', { min: start, max: start + width });
      isMoving = false;
    };
    const shown = () => plots[0].scales.x;
    const tools = document.createElement('div');
    tools.className = 'tools';
    const tool = (words, act) => {
      const button = document.createElement('button');
      button.type = 'button';
      button.textContent = words;
      button.addEventListener('click', () => {
        const { min, max } = shown();
        act(min, max, max - min);
      });
      tools.append(button);
    };
    tool('whole run', () => show(0, endSeconds));
    tool('closer', (min, max, width) => show(min + width / 4, max - width / 4));
    tool('wider', (min, max, width) => show(min - width / 2, max + width / 2));
    tool('earlier', (min, max, width) => show(min - width / 2, max - width / 2));
    tool('later', (min, max, width) => show(min + width / 2, max + width / 2));
    holder.append(tools);
    for (const [group, members] of groups) {
      const { title, height, data, series, axes, range, draw } =
        group === 'modes' ? modePlot(members) : curvePlot(members);
      const box = document.createElement('div');
      box.className = 'plot';
      const head = document.createElement('h3');
      head.textContent = title;
      box.append(head);
      holder.append(box);
      plots.push(
        new uPlot(
          {
            width: holder.clientWidth,
            height,
            series,
            axes,
            scales: {
              x: { time: false, range: (_, min, max) => [min ?? 0, max ?? endSeconds] },
              y: { range: () => range },
            },
            cursor: { sync: { key: `run-${number}`, setSeries: false }, drag: { x: true, y: false } },
            hooks: {
              drawAxes: [draw],
              setScale: [
                (plot, key) => {
                  if (key !== 'x' || isMoving || !plots.includes(plot)) return;
                  const { min, max } = plot.scales.x;
                  isMoving = true;
                  for (const other of plots) if (other !== plot) other.setScale('x', { min, max });
                  isMoving = false;
                },
              ],
            },
          },
          data,
          box,
        ),
      );
    }
    if (plots.length === 0) tools.remove();
    for (const button of section.querySelectorAll('.instant')) {
      button.onclick = () => {
        const at = Number(button.dataset.seconds);
        show(at - 0.05, at + 0.05);
        holder.scrollIntoView({ behavior: 'smooth', block: 'start' });
      };
    }
    const resize = () => {
      for (const plot of plots) plot.setSize({ width: holder.clientWidth, height: plot.height });
    };
    return { section, number, plots, resize };
  };

  const drawOnce = (section) => {
    const number = [...document.querySelectorAll('.run')].indexOf(section);
    if (!drawn.some((run) => run.number === number)) drawn.push(drawRun(section, number));
  };
  const redraw = () => {
    for (const { plots } of drawn) for (const plot of plots) plot.redraw(false);
  };

  // The plots of a long page are drawn when they come near the screen.
  const observer = new IntersectionObserver(
    (entries) => {
      for (const { isIntersecting, target } of entries) {
        if (!isIntersecting) continue;
        observer.unobserve(target);
        drawOnce(target);
      }
    },
    { rootMargin: '400px' },
  );
  for (const section of document.querySelectorAll('.run')) observer.observe(section);

  addEventListener('resize', () => {
    for (const { resize } of drawn) resize();
  });
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', redraw);
  addEventListener('beforeprint', () => {
    isPrinting = true;
    for (const section of document.querySelectorAll('.run')) drawOnce(section);
    redraw();
  });
  addEventListener('afterprint', () => {
    isPrinting = false;
    redraw();
  });
})();
