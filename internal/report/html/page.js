// The page: it shows what the verified entries say, and nothing before they are.
const make = (name, text, ...kids) => {
  const n = document.createElement(name);
  if (text) n.textContent = show(text);
  n.append(...kids.filter(Boolean));
  return n;
};
const classed = (n, c) => { n.className = c; return n; };
// show writes out the characters by which a reader could be deceived.
const show = text => String(text).replace(/[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb]/g,
  c => `\\u{${c.codePointAt(0).toString(16).toUpperCase()}}`);
const facts = pairs => {
  const d = make('dl');
  for (const [name, ...values] of pairs) {
    const said = values.filter(v => v !== undefined && v !== false && v !== '');
    if (said.length) d.append(make('dt', name), make('dd', said.join('\n')));
  }
  return d;
};
const section = (title, ...kids) => make('section', '', make('h2', title), ...kids);
const prefixes = [[1e9, 'G'], [1e6, 'M'], [1e3, 'k'], [1, ''], [1e-3, 'm'], [1e-6, 'µ'], [1e-9, 'n']];
// quantity prints an SI number with a prefix; every digit that counts is there.
const quantity = (text, unit) => {
  const x = Number(text);
  if (text === undefined || !Number.isFinite(x)) return '';
  if (!unit || unit === '1' || x === 0) return `${hvproof.formatNumber(x)} ${unit === '1' ? '' : unit ?? ''}`.trim();
  const [size, p] = prefixes.find(([s]) => Math.abs(x) >= s) ?? prefixes[prefixes.length - 1];
  return `${hvproof.formatNumber(Number((x / size).toPrecision(12)))} ${p}${unit}`;
};

// rounded prints an SI number with so many digits, an uncertainty rounded up.
const rounded = (x, unit, digits, up) => {
  if (!Number.isFinite(x)) return String(x);
  if (x === 0) return quantity('0', unit);
  const step = 10 ** (Math.floor(Math.log10(Math.abs(x))) - digits + 1);
  return quantity(hvproof.formatNumber(Number(((up ? Math.ceil(x / step - 1e-9) : Math.round(x / step)) * step).toPrecision(digits + 1))), unit);
};
// units are the names of dimensions as a plan writes them (SI Brochure, 9th
// edition, table 4).
const units = {'1': '1', 's': 's', 'm': 'm', 'A': 'A', 'K': 'K', 'kg': 'kg', 'rad': 'rad', 'kg.m2.s-3.A-1': 'V', 'kg.m2.s-3.A-2': 'Ω', 'kg-1.m-2.s4.A2': 'F', 'kg.m2.s-2.A-2': 'H',
  'kg.m2.s-3': 'W', 'kg.m2.s-2': 'J', 's-1': 'Hz', 's.A': 'C', 'A-1': 'Ω/V', 'kg.m.s-2': 'N', 'kg.m2.s-2.rad-1': 'N·m', 'kg.m-1.s-2': 'Pa', 'm2': 'm²',
  'kg.m2.s-4.A-1': 'V/s', 'kg.m2.s-2.A-1': 'V·s', 's.A2': 'A²·s'};
const unitOf = dimension => units[dimension] ?? dimension;
// number says what a waveform showed: "tau 0.0709 s 0.00002".
const number = text => {
  const [name, x, unit, u, side] = text.split(' ');
  return `${name} ${side ? side + ' ' : ''}${rounded(Number(x), unit, 4)}${Number(u) > 0 && !side ? ' ± ' + rounded(Number(u), unit, 2, true) : ''}`;
};

// clock prints a time of an entry as the clock on the wall showed it.
const clock = e => {
  const m = /^([+-])(\d\d):(\d\d)$/.exec(e.zone), off = (m[1] === '-' ? -1 : 1) * (m[2] * 60 + +m[3]);
  return new Date(Date.parse(e.time.slice(0, 19) + 'Z') + off * 60000).toISOString().slice(0, 19).replace('T', ' ') + ' ' + e.zone;
};

// readPlan takes a plan blob apart, as `hvproof help plan` specifies it.
function readPlan(bytes) {
  const p = {cautions: [], protective: [], makeSafe: [], files: [], proofs: [], steps: []};
  let step = null, bound = null;
  for (const line of new TextDecoder().decode(bytes).split('\n').slice(1)) {
    const at = line.indexOf(': ');
    if (at < 0) continue;
    const name = line.slice(0, at), raw = line.slice(at + 2), value = hvproof.unescape(raw) ?? raw;
    const rest = n => { const w = raw.split(' '); return [...w.slice(0, n), hvproof.unescape(w.slice(n).join(' ')) ?? '']; };
    if (name === 'step') { step = {path: value, bounds: [], parts: [], state: []}; bound = null; p.steps.push(step); continue; }
    if (!step) {
      if (name === 'caution') p.cautions.push(rest(1)[1]);
      else if (name === 'protective') p.protective.push(rest(1)[1]);
      else if (name === 'make safe') p.makeSafe.push(value);
      else if (name === 'file') p.files.push(rest(2));
      else if (name === 'proof') p.proofs.push(value);
      else p[name] = value;
    } else if (name === 'bound') { const [kind, id] = rest(1); bound = {kind, id}; step.bounds.push(bound); }
    else if (name === 'argument') bound = {};
    else if (bound) { if (name !== 'input') bound[name] = value; }
    else if (name === 'part') step.parts.push(value);
    else if (name === 'state') step.state.push(rest(1).join(': '));
    else step[name] = value;
  }
  return p;
}
function readMeters(bytes) {
  const meters = new Map();
  let m = null;
  for (const line of new TextDecoder().decode(bytes).split('\n')) {
    const f = /^([a-z-]+): (.*)$/.exec(line);
    if (f && f[1] === 'instrument') { m = {}; meters.set(hvproof.unescape(f[2]), m); } else if (f && m && !(f[1] in m)) m[f[1]] = hvproof.unescape(f[2]);
  }
  return meters;
}
const limitWords = (b, stepUnit) => {
  const unit = b.dimension ? unitOf(b.dimension) : stepUnit;
  const lo = quantity(b.low, unit), hi = quantity(b.high, unit);
  const words = {at_least: `at least ${lo}`, at_most: `at most ${hi}`, magnitude_at_most: `magnitude at most ${hi}`, between: `${lo} to ${hi}`, expected: `expected ${lo} to ${hi}`}[b.kind] ?? b.kind;
  const by = b.rules ? ` (${b.id}, rule set ${b.rules})` : '';
  return (b.feature ? b.feature + ' ' : '') + words + by + (b.governs || b.kind === 'expected' ? '' : ', not the strictest');
};
const goodWords = new Set(['PASS', 'DONE', 'PASSED']);
const word = text => classed(make('span', text), goodWords.has(text) ? 'word' : 'word no');

// made is what the program put into the page beside the record: faults and remarks
// on entries, and drawings, each of the entry and the file that it names.
function made() {
  const of = s => [...document.querySelectorAll(s)].map(n => [n.dataset.of, n]), said = s => {
    const m = new Map();
    for (const [name, n] of of(s)) m.set(name, [...m.get(name) ?? [], n.textContent]);
    return m;
  };
  return {faults: said('#found li'), remarks: said('#made li[data-of]'), figures: new Map(of('#made figure')), section: document.getElementById('remarks')};
}
// found is what the program found wrong with the record as it wrote the page. It
// is whole if nothing of it was taken out, as far as that can be told: of the
// waveforms it speaks of all those that the record holds.
function found() {
  const n = document.getElementById('found'), faults = n ? [...n.querySelectorAll('li')].map(l => l.textContent) : [];
  return {n, faults, whole: waveforms => n?.dataset.faults === String(faults.length) && n.dataset.waveforms === String(waveforms)};
}
let beside = null;

function runs(log, blobs) {
  const list = [], byId = new Map(), random = log.origin.split('/')[3];
  for (const it of log.items) {
    if (it.e.kind === 'run-start') {
      const r = {id: `${random}-${it.at}`, log: log.origin, start: it, items: [], plan: readPlan(blobs.get(it.e.get('plan')) ?? new Uint8Array()),
        meters: readMeters(blobs.get(it.e.get('meters')) ?? new Uint8Array()), outcome: '', confirmed: new Map()};
      list.push(r); byId.set(r.id, r);
    } else if (byId.has(it.e.run)) byId.get(it.e.run).items.push(it);
  }
  for (const r of list) for (const it of r.items) {
    if (it.e.kind === 'run-end') r.outcome = it.e.get('outcome');
    if (['witness', 'release', 'countersign'].includes(it.e.kind)) {
      const of = Number(it.e.get('entry'));
      r.confirmed.set(of, [...r.confirmed.get(of) ?? [], `${it.e.kind} by ${it.signer}, ${clock(it.e)}, entry ${it.at}`]);
    }
  }
  return list;
}
function meterWords(r, id, more) {
  const m = r.meters.get(id), used = more.filter(Boolean).join(' ');
  if (!id || !m) return id;
  return `${id}, ${m.kind ?? ''}, serial ${m.serial ?? 'not stated'}, calibrated ${m['calibrated-on'] ? 'on ' + m['calibrated-on'] + ' ' : ''}until ${m['calibrated-until'] ?? 'not stated'}${used && '; ' + used}`;
}
const answers = new Set(['reading', 'statement', 'computed', 'wait', 'hold', 'capture']);
function attempt(r, it, unit) {
  const e = it.e, u = e.get('unit') ?? unit;
  const side = e.get('bound') ? e.get('bound') + ' ' : '';
  return classed(make('div', '', facts([
    ['Fault', ...beside.faults.get(`${r.log} ${it.at}`) ?? []],
    ['Answer', e.get('text') && `"${e.get('text')}"`],
    ['Value', e.get('value') !== undefined && `${side}${quantity(e.get('value'), u)}${e.get('u') && !side ? ' ± ' + quantity(e.get('u'), u) : ''}`,
      e.get('low') !== undefined && `${quantity(e.get('low'), u)} to ${quantity(e.get('high'), u)}`],
    ['Decision', e.get('decision') && e.get('decision') + (e.get('rule') ? `, rule ${e.get('rule')}` : '')],
    ['Each bound', ...e.family('result')], ['Finding', ...e.family('finding')], ['From', ...e.family('input')],
    ['Reason', e.get('reason')], ['Asked back', e.get('confirmed') && 'confirmed as read'], ['Read at', e.get('read-at')],
    ['Meter', meterWords(r, e.get('instrument'), [e.get('function'), e.get('range')]), ...e.family('recorder').map(c => meterWords(r, c.slice(c.indexOf(' ') + 1), [c.split(' ')[0]])),
      e.get('division') && `read off a screen, ${quantity(e.get('division'), u)} to the division`],
    ['Waveform', e.get('file') && `${e.get('name')}, SHA-256 ${e.get('file')}`, e.family('channel').join('; '), e.family('feature').map(number).join('; ')],
    ['Signed', `${it.signer}, ${clock(e)}, entry ${it.at}`, ...r.confirmed.get(it.at) ?? []],
  ].map(row => row.map(v => v === false ? undefined : v))), e.kind === 'capture' && (beside.figures.get(`${r.log} ${it.at} ${e.get('file')}`) ?? make('p', 'There is no drawing of this waveform.'))), 'said');
}
function stepCard(r, s) {
  const own = r.items.filter(it => it.e.path === s.path), tries = own.filter(it => answers.has(it.e.kind));
  const last = tries[tries.length - 1];
  const decision = s['not applicable'] ? 'NOT APPLICABLE' : !last ? 'NOT DONE' : (last.e.get('decision') ?? 'done').toUpperCase();
  const unit = tries.map(t => t.e.get('unit')).find(Boolean) ?? '';
  const unwitnessed = s.witness && last && !(r.confirmed.get(last.at) ?? []).some(w => w.startsWith('witness'));
  return classed(make('article', '', make('header', '', make('h3', s.path), word(decision + (unwitnessed ? ', NOT WITNESSED' : '') + (last && beside.faults.has(`${r.log} ${last.at}`) ? ', DOES NOT VERIFY' : ''))), make('p', s.text ?? ''),
    facts([['Part', s.parts.join(', ')], ['State', s.state.join(', ')],
      ...s.bounds.filter(b => b.kind).map(b => [b.kind === 'expected' ? 'Expected' : 'Limit', limitWords(b, unit), b.formula && `= ${b.formula}`, b.substituted && b.substituted !== b.formula && `= ${b.substituted}`, b.source]),
      ['Not applicable', s['not applicable'] && 'because ' + s['not applicable']], ['Source', s.source], ['Method', s.method, s.stimulus]]),
    ...own.filter(it => it.e.kind === 'again').map(it => make('p', `again: ${it.e.get('reason') ?? 'no reason'}${it.e.get('cause') ? '; thought to be caused by ' + it.e.get('cause') : ''}`)),
    ...tries.map(it => attempt(r, it, unit))), 'step');
}
const file = ([origin, digest, name]) => `${name}: ${origin === 'own' ? "the shop's own" : origin}, SHA-256 ${digest.slice(0, 16)}…`;
function runCard(r, openIt) {
  const e = r.start.e, outcome = (r.outcome || 'not finished').toUpperCase() + (beside.faults.size ? ', DOES NOT VERIFY' : '');
  const body = make('div', '', facts([['Run', `${r.id}, ${r.items.length + 1} entries from ${r.start.at} on`], ['Procedure', `${r.plan.title ?? ''} (${e.get('procedure')}), stage ${r.plan.stage ?? ''}`],
    ['Purpose', r.plan.purpose], ['Date', e.get('date')],
    ['Workshop', e.get('workshop') ?? 'not recorded'], ['Made for', e.get('customer') ?? 'not recorded'], ['Place', e.get('place') ?? 'not recorded'],
    ['Counts', e.get('practice') === 'yes' ? 'PRACTICE - never evidence' : e.get('rehearsal') === 'yes' ? 'REHEARSAL - never evidence' : 'yes'],
    ['Operator', e.get('operator')], ['Witness', e.get('witness') ?? 'nobody'], ['Releaser', e.get('releaser') ?? 'nobody'],
    ['Cautions', ...r.plan.cautions], ['Make safe', ...r.plan.makeSafe], ['Ambient', ...r.items.filter(i => i.e.kind === 'ambient').map(i => i.e.get('text') ?? '')],
    ['Files', ...r.plan.files.filter(f => f[0] !== 'shipped').map(file), `and ${r.plan.files.filter(f => f[0] === 'shipped').length} as shipped with the program`]]));
  const remarks = [r.start, ...r.items].flatMap(it => beside.remarks.get(`${r.log} ${it.at}`) ?? []);
  if (remarks.length) body.append(facts([['Remarks', ...remarks]]));
  const d = make('details', '', make('summary', '', make('strong', `${r.plan.title ?? e.get('procedure')} (${r.id}) `), word(outcome)), body);
  const fill = () => { if (!d.dataset.full) { d.dataset.full = 'yes'; body.append(...r.plan.steps.map(s => stepCard(r, s))); } };
  d.addEventListener('toggle', () => d.open && fill());
  addEventListener('beforeprint', () => d.open && fill());
  if (openIt) { fill(); d.open = true; }
  return d;
}
// forced are the permits that somebody forced, to be seen before all else.
function forced(log) {
  return log.items.filter(i => i.e.kind === 'permit' && i.e.family('forced').length).map(i => {
    const end = log.items.find(x => x.e.kind === 'permit-end' && x.e.get('entry') === String(i.at));
    return classed(make('p', `FORCED PERMIT, entry ${i.at}: until ${i.e.get('until')}, by ${i.signer}, ${clock(i.e)}, because: ${i.e.get('reason') ?? 'no reason was given'}. ` +
      `It was forced over: ${i.e.family('forced').join('; ')}.${end ? ` It was ended with entry ${end.at}: ${end.e.get('reason')}.` : ''}`), 'answer no');
  });
}
function record(log) {
  const start = log.items.find(i => i.at === 0)?.e, newest = log.items[log.items.length - 1];
  return facts([['Car', start?.get('name')], ['Log', log.origin], ['Begun', start && `${clock(start)} by ${start.get('person')}, entry 0`],
    ['Fingerprint', log.first && hvproof.digits(log.first), 'of entry 0: read it aloud and compare it with what you were told before'],
    ['Predecessor', start?.get('predecessor') === 'none' ? 'none: this log claims to be the first of this car' : start?.get('predecessor'),
      start?.get('predecessor-size') && `${start.get('predecessor-size')} entries, root ${start.get('predecessor-root')}`],
    ['Reaches to', newest && `entry ${newest.at}, ${clock(newest.e)}`]]);
}
function logSection(log, v) {
  const list = runs(log, v.blobs), wanted = document.querySelector('meta[name=hvproof-run]').content, kids = [];
  list.sort((a, b) => (b.id === wanted) - (a.id === wanted));
  if (list.length) kids.push(make('h2', 'Runs'));
  for (const r of list) kids.push(runCard(r, r.id === wanted));
  kids.push(make('h2', 'People and their keys'), facts(log.register.keys.map(k => [k.id, `${k.roles.join(' ')}; introduced by ${k.by}, from entry ${k.from}${k.until === null ? '' : `, ended with entry ${k.until}`}`, hvproof.digits(hvproof.sha256(k.key))])));
  if (log.cosigners?.length) kids.push(make('h2', 'Countersigned'), facts(log.cosigners.map(c => [c.name, new Date(c.time * 1000).toISOString() + ", by that person's clock", hvproof.digits(hvproof.sha256(c.key))])));
  if (log.checkpoint) kids.push(make('h2', 'Checkpoint'), make('p', 'Keep it: a log that is cut short or rewritten later does not agree with it.'), make('pre', new TextDecoder().decode(log.checkpoint)));
  return make('section', '', ...kids);
}
const points = (...items) => make('ul', '', ...items.map(i => make('li', i)));
async function main() {
  const page = document.getElementById('page'), answer = document.getElementById('answer'), began = performance.now();
  const says = found(), program = document.querySelector('meta[name=generator]')?.content ?? 'the program', more = says.faults.length - 1;
  const say = (text, ok) => { answer.textContent = show(text); answer.className = ok ? 'answer' : 'answer no'; document.documentElement.dataset.answer = ok ? 'verified' : 'not'; };
  // Whatever the script finds or cannot find out: with a fault that the program
  // found, the answer is that it does not verify.
  const theirs = more < 0 ? '' : `DOES NOT VERIFY: ${says.faults[0]}${more ? `, and ${more} more fault${more > 1 ? 's' : ''}, below` : ''}. So says ${program}, which wrote this page. `;
  const unchecked = why => say(theirs ? theirs + 'By the browser nothing was verified: ' + why : 'NOT VERIFIED: ' + why, false);
  try {
    if (!globalThis.crypto?.subtle || !await hvproof.supported()) {
      unchecked('this browser cannot check Ed25519 signatures. Take a current one, or hvproof verify.');
      return;
    }
    const text = document.getElementById('bundle').textContent; // both ways skip the ends of lines
    const file = Uint8Array.fromBase64 ? Uint8Array.fromBase64(text) : Uint8Array.from(atob(text), c => c.charCodeAt(0));
    const v = await hvproof.verify(file, knowledge);
    const count = v.logs.reduce((n, l) => n + l.count, 0), waveforms = v.logs.reduce((n, l) => n + (l.items ?? []).filter(i => i.e.kind === 'capture').length, 0), signatures = `${count} entries, each with its signature, place and root`;
    document.documentElement.dataset.codes = JSON.stringify(v.faults.map(f => f.code));
    document.documentElement.dataset.took = String(Math.round(performance.now() - began));
    if (v.practice) page.prepend(classed(make('p', 'PRACTICE - never evidence'), 'mark'));
    if (!v.ok) {
      say(`DOES NOT VERIFY: ${v.faults.length} fault${v.faults.length > 1 ? 's' : ''}. Nothing of this record is shown.`, false);
      page.append(facts(v.faults.slice(0, 1000).map(f => [`entry ${f.entry}`, f.code, f.sentence, f.log])));
      return;
    }
    if (!says.whole(waveforms)) {
      unchecked(`what ${program} found in the record as it wrote this page was taken out of it or altered. Nothing of the record is shown; "hvproof verify" on this file looks for itself.`);
      return;
    }
    const notHere = waveforms ? ` NOT ANALYSED BY IT: ${waveforms} waveform${waveforms > 1 ? 's' : ''}; "hvproof verify" on this file does that.` : '';
    if (theirs) say(`${theirs}By this browser no fault was found in ${signatures}; ${v.blobs.size} files; the checkpoint.${notHere}`, false);
    else say(`VERIFIED BY THIS BROWSER: ${signatures}; ${v.blobs.size} files; the checkpoint.${notHere}`, true);
    const name = v.logs[v.logs.length - 1].items[0]?.e.get('name') ?? '';
    document.title = show(`${theirs && 'DOES NOT VERIFY: '}${name}: hvproof record`);
    page.prepend(make('h1', `Test record: ${name}`));
    await new Promise(done => setTimeout(done, 0)); // the answer is seen before the page is long
    beside = made();
    const logs = v.logs.toReversed();
    page.append(...logs.flatMap(forced), ...logs.map(l => section(logs.length > 1 ? 'Car and record: ' + l.origin : 'Car and record', record(l))));
    beside.section.append(make('p', 'These are of the program that made this page, and so are the drawings of waveforms: the browser does not make them.'));
    page.append(beside.section, ...logs.map(l => logSection(l, v)));
    const checked = section('What was checked', points(
      `By the script in this page, in ${document.documentElement.dataset.took} ms: every signature, every leaf, the tree, the checkpoint, every file by its SHA-256.`,
      `Not by it: the waveforms. A browser does not analyse them, and cannot tell whether one refutes the decision on it. What ${program} found when it held them against the decisions is only repeated here, as are remarks, open items and drawings. Nobody has signed that: who alters this file can alter it, and then no more is known of the waveforms than if nobody had looked. "hvproof verify" on this file analyses them anew.`,
      'Not by it: whether page and script are hvproof\'s. Who forges a page can forge its script. On a machine with hvproof, "hvproof verify" on this file makes the page anew and compares.',
      theirs ? `Not proven: that anything here can be relied on, since ${program} found what stands at the top.` : 'Proven: these keys signed these entries, in this order; of the entries nothing was changed, left out or put between.',
      'Not proven: that the meter was on the right terminal, that the clock was right before the first time that somebody outside put under a checkpoint, who held a key.'));
    if (!theirs) { checked.append(says.n); says.n.hidden = false; }
    page.append(checked,
    section('How it was decided', points(
      'The number after ± is U, the expanded uncertainty: the half-width of the instrument\'s specification; of several readings together, combined with k = 2. Temperature and humidity are recorded and correct nothing.',
      'Guard band w = U (ILAC-G8:09/2019, 4.2.3): a pass holds for every true value within U of the reading. Met by less than U is a conditional pass, missed by less than U a conditional fail. Simple acceptance, w = 0 (4.2.1), where a limit says so: the reading alone counts.',
      'Limits are computed for the strictest corner of the car\'s tolerances, frozen when the run began, and rounded inward; expected values cover all tolerances.')),
    section('Cautions', points('Tested, with these results, in this state, at this time; not more. No result here says that touching anything is without danger.',
      'The results relate only to the car and the parts named. They say nothing about anything done to the car afterwards, or about anybody\'s competence.',
      'Local codes, the rule book in force, the maker\'s instructions and licensed people come first.',
      'Before anybody touches a part it is proved dead again: that is never carried over from a report.',
      'A proof here is evidence that a requirement was met by measurement, not a proof (withstand) test.', 'Not to be copied except in full.')));
    if (theirs) page.append(classed(make('p', 'DOES NOT VERIFY - see the top'), 'mark'));
    if (v.practice) page.append(classed(make('p', 'PRACTICE - never evidence'), 'mark'));
  } catch (x) {
    unchecked(x.message);
  }
}
main();
