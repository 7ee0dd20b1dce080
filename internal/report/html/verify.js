'use strict';
// A verifier of bundles, written from `hvproof help bundle` and `hvproof help
// log`: the second implementation beside the Go one, with which it must agree
// code by code. It needs WebCrypto with Ed25519 and nothing else.
const hvproof = (() => {
const te = new TextEncoder();
const td = new TextDecoder('utf-8', {fatal: true, ignoreBOM: true});
class Malformed extends Error {}
const bad = why => { throw new Malformed(why); };

// ---- SHA-256 (FIPS 180-4), synchronous: a tree of 10,000 entries needs a
// hundred thousand of them, which WebCrypto would take one promise each for.
const K = new Uint32Array(64), H0 = new Uint32Array(8);
{ // the first 32 bits of the fractions of roots of the first primes, exactly
  const root = (n, k) => { let lo = 0n, hi = 1n << 48n; while (hi - lo > 1n) { const m = lo + hi >> 1n; if (m ** k <= n) lo = m; else hi = m; } return Number(lo & 0xFFFFFFFFn); };
  let n = 0;
  for (let c = 2; n < 64; c++) {
    let prime = true;
    for (let d = 2; d * d <= c; d++) if (c % d === 0) { prime = false; break; }
    if (!prime) continue;
    if (n < 8) H0[n] = root(BigInt(c) << 64n, 2n);
    K[n++] = root(BigInt(c) << 96n, 3n);
  }
}
const W = new Int32Array(64), KI = Int32Array.from(K), small = new Uint8Array(8192), smallView = new DataView(small.buffer);
function sha256(...parts) {
  let length = 0;
  for (const p of parts) length += p.length;
  const whole = (Math.floor((length + 8) / 64) + 1) * 64, isSmall = whole <= small.length;
  const padded = isSmall ? small : new Uint8Array(whole), view = isSmall ? smallView : new DataView(padded.buffer);
  let at = 0;
  for (const p of parts) { padded.set(p, at); at += p.length; }
  padded.fill(0, length, whole);
  padded[length] = 0x80;
  view.setUint32(whole - 8, Math.floor(length / 536870912));
  view.setUint32(whole - 4, (length << 3) >>> 0);
  let h0 = H0[0] | 0, h1 = H0[1] | 0, h2 = H0[2] | 0, h3 = H0[3] | 0, h4 = H0[4] | 0, h5 = H0[5] | 0, h6 = H0[6] | 0, h7 = H0[7] | 0;
  for (let o = 0; o < whole; o += 64) {
    for (let i = 0; i < 16; i++) W[i] = view.getInt32(o + 4 * i);
    for (let i = 16; i < 64; i++) {
      const x = W[i - 15], y = W[i - 2];
      W[i] = W[i - 16] + ((x >>> 7 | x << 25) ^ (x >>> 18 | x << 14) ^ x >>> 3) + W[i - 7] +
        ((y >>> 17 | y << 15) ^ (y >>> 19 | y << 13) ^ y >>> 10) | 0;
    }
    let a = h0, b = h1, c = h2, d = h3, e = h4, f = h5, g = h6, k = h7;
    for (let i = 0; i < 64; i++) {
      const t = k + ((e >>> 6 | e << 26) ^ (e >>> 11 | e << 21) ^ (e >>> 25 | e << 7)) + (e & f ^ ~e & g) + KI[i] + W[i] | 0;
      const u = ((a >>> 2 | a << 30) ^ (a >>> 13 | a << 19) ^ (a >>> 22 | a << 10)) + (a & b ^ a & c ^ b & c) | 0;
      k = g; g = f; f = e; e = d + t | 0; d = c; c = b; b = a; a = t + u | 0;
    }
    h0 = h0 + a | 0; h1 = h1 + b | 0; h2 = h2 + c | 0; h3 = h3 + d | 0; h4 = h4 + e | 0; h5 = h5 + f | 0; h6 = h6 + g | 0; h7 = h7 + k | 0;
  }
  const out = new Uint8Array(32), ov = new DataView(out.buffer);
  ov.setInt32(0, h0); ov.setInt32(4, h1); ov.setInt32(8, h2); ov.setInt32(12, h3); ov.setInt32(16, h4); ov.setInt32(20, h5); ov.setInt32(24, h6); ov.setInt32(28, h7);
  return out;
}
// digestOf gives a file's SHA-256 in hexadecimal; WebCrypto takes large ones.
const digestOf = async data => hex(data.length < 65536 ? sha256(data) : new Uint8Array(await crypto.subtle.digest('SHA-256', data)));
const hexes = Array.from({length: 256}, (_, x) => x.toString(16).padStart(2, '0'));
const hex = b => { let s = ''; for (let i = 0; i < b.length; i++) s += hexes[b[i]]; return s; };
const letters = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/', letterOf = new Uint8Array(128).fill(255);
for (let i = 0; i < 64; i++) letterOf[letters.charCodeAt(i)] = i;
function base64(b) {
  let s = '', i = 0;
  for (; i + 2 < b.length; i += 3) s += letters[b[i] >> 2] + letters[(b[i] & 3) << 4 | b[i + 1] >> 4] + letters[(b[i + 1] & 15) << 2 | b[i + 2] >> 6] + letters[b[i + 2] & 63];
  if (i + 1 === b.length) s += letters[b[i] >> 2] + letters[(b[i] & 3) << 4] + '==';
  else if (i + 2 === b.length) s += letters[b[i] >> 2] + letters[(b[i] & 3) << 4 | b[i + 1] >> 4] + letters[(b[i + 1] & 15) << 2] + '=';
  return s;
}
// unbase64 takes what base64 prints and nothing else; null otherwise.
function unbase64(text) {
  const n = text.length, fill = text.endsWith('==') ? 2 : text.endsWith('=') ? 1 : 0;
  if (n % 4 !== 0) return null;
  const b = new Uint8Array(n / 4 * 3 - fill);
  let bits = 0, at = 0;
  for (let i = 0; i < n - fill; i++) {
    const c = text.charCodeAt(i), v = c < 128 ? letterOf[c] : 255;
    if (v === 255) return null;
    bits = bits << 6 | v;
    if (i % 4 !== 0) b[at++] = bits >> (6 - 2 * (i % 4)) & 255;
    bits &= 0xFFF;
  }
  return fill && bits & (fill === 2 ? 15 : 3) ? null : b; // bits that no byte has
}
function same(a, b) {
  if (a.length !== b.length) return false;
  for (let i = 0; i < a.length; i++) if (a[i] !== b[i]) return false;
  return true;
}
const decode = b => { try { return td.decode(b); } catch { return null; } };

// ---- container
const crcTable = new Uint32Array(256).map((_, n) => { for (let k = 0; k < 8; k++) n = n & 1 ? n >>> 1 ^ 0xEDB88320 : n >>> 1; return n; });
function crc32(b) {
  let c = 0xFFFFFFFF;
  for (let i = 0; i < b.length; i++) c = crcTable[(c ^ b[i]) & 255] ^ c >>> 8;
  return (c ^ 0xFFFFFFFF) >>> 0;
}
function words(...pairs) { // little endian: size, value, size, value …
  const out = [];
  for (let i = 0; i < pairs.length; i += 2) for (let n = 0, v = pairs[i + 1]; n < pairs[i]; n++) { out.push(v % 256); v = Math.floor(v / 256); }
  return Uint8Array.from(out);
}
const join = (...parts) => { const out = new Uint8Array(parts.reduce((n, p) => n + p.length, 0)); let at = 0; for (const p of parts) { out.set(p, at); at += p.length; } return out; };
function endRecord(count, length, at) {
  const zip64 = count >= 65535 ? words(4, 0x06064b50, 8, 44, 2, 45, 2, 45, 8, 0, 8, count, 8, count, 8, length, 8, at,
    4, 0x07064b50, 4, 0, 8, at + length, 4, 1) : new Uint8Array();
  const n = Math.min(count, 65535);
  return join(zip64, words(4, 0x06054b50, 4, 0, 2, n, 2, n, 4, length, 4, at, 2, 0));
}
function* members(file) {
  const v = new DataView(file.buffer, file.byteOffset, file.byteLength), size = file.length;
  if (size < 22 || size > 4294967294) bad('its size');
  let count = v.getUint16(size - 12, true);
  const length = v.getUint32(size - 10, true), at = v.getUint32(size - 6, true);
  if (count === 65535 && size >= 98) count = Number(v.getBigUint64(size - 98 + 32, true));
  if (count > 20000000) bad('too many members');
  const tail = endRecord(count, length, at);
  if (at + length + tail.length !== size || !same(file.subarray(size - tail.length), tail)) bad('it does not end as a bundle does');
  let d = at, o = 0;
  for (let n = 0; n < count; n++) {
    if (d + 46 > at + length) bad('the directory ends early');
    const crc = v.getUint32(d + 16, true), bytes = v.getUint32(d + 20, true), nl = v.getUint16(d + 28, true);
    if (nl === 0 || nl > 255 || d + 46 + nl > at + length) bad('a name in the directory');
    const raw = file.subarray(d + 46, d + 46 + nl);
    const common = words(2, 20, 2, 0x0800, 2, 0, 2, 0, 2, 33, 4, crc, 4, bytes, 4, bytes, 2, nl, 2, 0);
    const end = o + 30 + nl + bytes;
    if (!same(file.subarray(d, d + 46), join(words(4, 0x02014b50, 2, 20), common, words(2, 0, 2, 0, 2, 0, 4, 0, 4, o))) || end > at) bad('the directory is not spelled as it would be printed');
    if (!same(file.subarray(o, o + 30 + nl), join(words(4, 0x04034b50), common, raw))) bad('a header does not agree with the directory');
    const data = file.subarray(o + 30 + nl, end);
    if (crc32(data) !== crc) bad('a checksum');
    yield [String.fromCharCode(...raw), data];
    d += 46 + nl; o = end;
  }
  if (d !== at + length || o !== at) bad('bytes that belong to nothing');
}

// ---- texts of entries
const hidden = [[0, 0x1F], [0x7F, 0x9F], [0xAD, 0xAD], [0x600, 0x605], [0x61C, 0x61C], [0x6DD, 0x6DD], [0x70F, 0x70F], [0x890, 0x891], [0x8E2, 0x8E2],
  [0x180E, 0x180E], [0x200B, 0x200F], [0x2028, 0x202E], [0x2060, 0x206F], [0xFEFF, 0xFEFF], [0xFFF9, 0xFFFB], [0x110BD, 0x110BD], [0x110CD, 0x110CD],
  [0x13430, 0x1343F], [0x1BCA0, 0x1BCA3], [0x1D173, 0x1D17A], [0xE0000, 0xE007F]];
const isHidden = c => hidden.some(([a, b]) => a <= c && c <= b);
function escape(text) {
  if (/^[ -\[\]-~]*$/.test(text)) return text;
  let out = '';
  for (const ch of text) {
    const c = ch.codePointAt(0);
    out += ch === '\n' ? '\\n' : ch === '\r' ? '\\r' : ch === '\t' ? '\\t' : ch === '\\' ? '\\\\' : isHidden(c) ? `\\u{${c.toString(16).toUpperCase()}}` : ch;
  }
  return out;
}
function unescape(text) { // null: not as escape prints
  if (!text.includes('\\')) return escape(text) === text ? text : null;
  let ok = true;
  const plain = text.replace(/\\(n|r|t|\\|u\{([0-9A-Fa-f]{1,6})\}|)/g, (all, what, digits) => {
    if (digits) {
      const c = parseInt(digits, 16);
      if (c > 0x10FFFF || c >= 0xD800 && c <= 0xDFFF) { ok = false; return ''; }
      return String.fromCodePoint(c);
    }
    const to = {n: '\n', r: '\r', t: '\t', '\\': '\\'}[what];
    if (to === undefined) ok = false;
    return to;
  });
  return ok && escape(plain) === text ? plain : null;
}
function formatNumber(x) {
  if (x === 0) return '0';
  const [digits, exponent] = String(Math.abs(x)).split('e');
  let text = digits;
  if (exponent !== undefined) {
    const [whole, part = ''] = digits.split('.'), e = Number(exponent);
    text = e < 0 ? '0.' + '0'.repeat(-e - 1) + whole + part : whole + part.padEnd(e, '0');
  }
  return (x < 0 ? '-' : '') + text;
}
const isNumber = t => { const x = Number(t); return t !== '' && Number.isFinite(x) && formatNumber(x) === t; };
const isCount = t => /^(0|[1-9][0-9]*)$/.test(t) && BigInt(t) < 2n ** 63n;
const isDate = t => { const m = /^(\d{4})-(\d\d)-(\d\d)$/.exec(t); if (!m) return false; const d = new Date(Date.UTC(2000, m[2] - 1, m[3])); d.setUTCFullYear(m[1], m[2] - 1, m[3]); return d.getUTCFullYear() === +m[1] && d.getUTCMonth() === m[2] - 1 && d.getUTCDate() === +m[3]; };
const isTime = t => { const m = /^(\d{4}-\d\d-\d\d)T(\d\d):(\d\d):(\d\d)\.\d{9}Z$/.exec(t); return !!m && isDate(m[1]) && m[2] < 24 && m[3] < 60 && m[4] < 60; };
const isHash = t => { const b = t.length === 44 && unbase64(t); return !!b && b.length === 32; };
const originPart = /^[a-z0-9][a-z0-9._-]{0,63}$/;
function parseOrigin(text) {
  const p = text.split('/');
  const ok = p[0] === 'hvproof' && (p.length === 4 || p.length === 5 && p[4] === 'practice') && p.slice(1, 4).every(x => originPart.test(x));
  return ok ? {practice: p.length === 5} : null;
}
const isPath = t => /^[a-z0-9_]+([.:][a-z0-9_]+)*$/.test(t);
const roleNames = ['operator', 'witness', 'releaser'];
function parseRoles(text) {
  let last = -1;
  for (const w of text.split(' ')) { const i = roleNames.indexOf(w); if (i <= last) return null; last = i; }
  return text.split(' ');
}
const checks = {
  'text': v => v !== '', 'number': isNumber, 'count': isCount, 'yes or no': v => v === 'yes' || v === 'no', 'date': isDate,
  'time': v => isTime(v), 'person': v => /^[a-z][a-z0-9.-]{0,62}$/.test(v), 'roles': v => !!parseRoles(v),
  'key': v => /^[^\t\n\f\r +]+\+[0-9a-f]{8}\+[A-Za-z0-9+/]{44}$/.test(v), 'hash': isHash,
  'digest': v => /^[0-9a-f]{64}$/.test(v), 'blob': v => /^[0-9a-f]{64}$/.test(v),
};
const checkValue = (spec, v) => spec.type === 'word' ? spec.words.includes(v) : checks[spec.type](v);

// parseEntry reads the text of an entry; a string says why it is malformed.
function parseEntry(text, bytes, schema) {
  if (bytes > 1048576) return 'too long';
  if (!text.startsWith('hvproof entry 1\n')) return 'the first line';
  const lines = text.slice('hvproof entry 1\n'.length).split('\n');
  if (lines.pop() !== '') return 'the last line';
  const pairs = [];
  for (const l of lines) {
    const at = l.indexOf(': ');
    if (at < 0) return 'a line without name and value';
    const value = unescape(l.slice(at + 2));
    if (value === null) return 'an escape';
    pairs.push([l.slice(0, at), value]);
  }
  const e = {blobs: []};
  for (const name of ['origin', 'index', 'root', 'kind', 'time', 'zone', 'uptime', 'boot', 'version']) {
    const p = pairs.shift();
    if (!p || p[0] !== name) return name + ': not in its place';
    e[name] = p[1];
  }
  for (const name of ['run', 'path']) {
    if (pairs.length && pairs[0][0] === name) { e[name] = pairs.shift()[1]; if (e[name] === '') return name; }
  }
  e.fields = pairs;
  const spec = Object.hasOwn(schema, e.kind) ? schema[e.kind] : null;
  if (!isCount(e.index) || !isHash(e.root) || !isTime(e.time) || !isNumber(e.uptime) || Number(e.uptime) < 0) return 'the header';
  e.index = Number(e.index);
  if (!parseOrigin(e.origin) || !spec && !/^[a-z]+(-[a-z]+)*$/.test(e.kind)) return 'the header';
  const year = Number(e.time.slice(0, 4));
  if (year < 1970 || e.zone.length !== 6 || !/^[+-](0\d|1[0-4]):[0-5]\d$/.test(e.zone) || e.zone === '-00:00' || e.boot === '' || e.version === '') return 'the header';
  if (e.run !== undefined && !/^[A-Za-z0-9][A-Za-z0-9._-]{0,127}$/.test(e.run) || e.path !== undefined && !isPath(e.path)) return 'the header';
  e.get = name => { const p = pairs.find(p => p[0] === name); return p ? p[1] : undefined; };
  e.family = name => pairs.filter(p => p[0].startsWith(name + ' ') && /^[1-9]\d*$/.test(p[0].slice(name.length + 1))).map(p => p[1]);
  if (!spec) {
    const seen = new Set();
    for (const [name, value] of pairs) {
      if (!/^[a-z]+(-[a-z]+)*( [1-9][0-9]*)?$/.test(name) || value === '' || seen.has(name)) return name;
      seen.add(name);
    }
    e.unknown = true;
    return e;
  }
  let at = 0;
  for (const s of spec) {
    if (s.need === 'numbered') {
      for (let n = 1; at < pairs.length; n++) {
        const m = /^([^ ]*) ([1-9][0-9]*)$/.exec(pairs[at][0]);
        if (!m || m[1] !== s.name) break;
        if (Number(m[2]) !== n || !checkValue(s, pairs[at][1])) return s.name;
        if (s.type === 'blob') e.blobs.push(pairs[at][1]);
        at++;
      }
      continue;
    }
    if (at === pairs.length || pairs[at][0] !== s.name) {
      if (s.need === 'required') return s.name + ': missing';
      continue;
    }
    if (!checkValue(s, pairs[at][1])) return s.name;
    if (s.type === 'blob') e.blobs.push(pairs[at][1]);
    at++;
  }
  return at < pairs.length ? pairs[at][0] + ': not in its place' : e;
}

// openNote takes a note with one signature apart; a string says why not.
const keyName = /^[!-*,-~]+$/;
function openNote(raw) {
  const all = decode(raw);
  if (all === null) return 'not UTF-8';
  const split = all.lastIndexOf('\n\n');
  if (split < 0) return 'no blank line';
  const text = all.slice(0, split + 1), line = all.slice(split + 2);
  if (/[\0-\x09\x0b-\x1f]/.test(text)) return 'a control character';
  const m = /^— ([^ \n]+) ([^\n]*)\n$/.exec(line);
  if (!m || !keyName.test(m[1])) return 'not one signature line';
  const sig = m[2].length === 92 && unbase64(m[2]);
  if (!sig || sig.length !== 68) return 'not an Ed25519 signature';
  return {text, bytes: te.encode(text), signer: m[1], hash: hex(sig.subarray(0, 4)), signature: sig.slice(4)};
}
function parseCheckpoint(raw) {
  if (!raw) return 'there is none';
  const n = openNote(raw);
  if (typeof n === 'string') return n;
  const lines = n.text.split('\n');
  if (lines.length !== 4 || !parseOrigin(lines[0]) || n.signer !== lines[0] || !isCount(lines[1]) || lines[1] === '0' || !isHash(lines[2])) return 'not a checkpoint';
  return {note: n, origin: lines[0], size: Number(lines[1]), root: lines[2]};
}

// ---- keys
const P = 2n ** 255n - 19n;
const mod = x => ((x % P) + P) % P;
function power(x, n) { let r = 1n; x = mod(x); for (; n > 0n; n >>= 1n) { if (n & 1n) r = r * x % P; x = x * x % P; } return r; }
const inverse = x => power(x, P - 2n);
function goodKey(key) { // canonical, on the curve, not of small order
  const b = Uint8Array.from(key).reverse(), sign = b[0] >> 7;
  b[0] &= 127;
  let y = BigInt('0x' + hex(b));
  if (y >= P) return false;
  const d = mod(-121665n * inverse(121666n));
  const xx = mod((y * y - 1n) * inverse(d * y * y + 1n));
  let x = power(xx, (P + 3n) / 8n);
  if (mod(x * x) !== xx) x = mod(x * power(2n, (P - 1n) / 4n));
  if (mod(x * x) !== xx || x === 0n && sign === 1) return false;
  for (let i = 0; i < 3; i++) {
    const k = mod(d * mod(x * y) * mod(x * y));
    [x, y] = [mod(2n * x * y * inverse(1n + k)), mod((y * y + x * x) * inverse(1n - k))];
  }
  return !(x === 0n && y === 1n);
}
const hashOf = (name, alg, key) => hex(sha256(te.encode(name + '\n'), Uint8Array.of(alg), key).subarray(0, 4));
function parseVKey(text, alg = 1, names = /^[^]+$/) {
  const p = text.split('+'), name = p[0], raw = unbase64(p.slice(2).join('+'));
  if (p.length < 3 || name === '' || !names.test(name) || !raw || raw.length !== 33 || raw[0] !== alg) return null;
  const key = raw.slice(1), hash = hashOf(name, alg, key);
  return `${name}+${hash}+${base64(raw)}` === text && goodKey(key) ? {name, key, hash} : null;
}
// A key is imported once; with one that is, a signature is handed to WebCrypto
// at once, which checks it beside this script.
const imported = new Map();
async function importKey(key) {
  const id = hex(key);
  if (!imported.has(id)) imported.set(id, await crypto.subtle.importKey('raw', key, {name: 'Ed25519'}, false, ['verify']).catch(() => null));
}
async function good(key, data, signature) {
  await importKey(key);
  return check(key, data, signature);
}
function check(key, data, signature) {
  const k = imported.get(hex(key));
  return k ? crypto.subtle.verify({name: 'Ed25519'}, k, signature, data).catch(() => false) : false;
}

// ---- who may sign what
class Register {
  keys = []; pending = new Map(); started = false; log = null;
  may(p, kind, rights) { return !Object.hasOwn(rights, kind) || rights[kind].some(r => p.roles.includes(r)); }
  current(id) { return this.keys.findLast(k => k.id === id && k.until === null); }
  owner(key) { return this.log && same(this.log.key, key) || this.keys.some(k => same(k.key, key)) || [...this.pending.values()].some(k => same(k.key, key)); }
  change(e, by) {
    const k = parseVKey(e.get('key') ?? '');
    if (e.kind === 'join') return k && k.name === e.get('person') && !this.owner(k.key) ? '' : 'wrong-signer';
    if (e.kind === 'retire') {
      const now = this.current(e.get('person'));
      if (!k || !now || k.name !== now.id || !same(k.key, now.key)) return 'wrong-signer';
      return now.id === by.id || by.roles.includes('releaser') ? '' : 'wrong-signer';
    }
    return '';
  }
  start(e, n) { // [key, code]
    const k = parseVKey(e.get('key') ?? ''), l = parseVKey(e.get('log-key') ?? '');
    if (!k) return [null, 'wrong-signer'];
    const ok = !this.started && e.index === 0 && k.name === e.get('person') && k.name === n.signer && k.hash === n.hash &&
      l && l.name === e.origin && !same(l.key, k.key);
    return [k.key, ok ? '' : 'wrong-signer'];
  }
  check(e, n, rights) { // [key, code]
    if (e.kind === 'start') return this.start(e, n);
    if (e.kind === 'accept') {
      const p = this.pending.get(n.signer);
      if (!p || p.hash !== n.hash) return [this.keys.find(k => k.id === n.signer && k.hash === n.hash)?.key ?? null, 'wrong-signer'];
      return [p.key, e.get('entry') === String(p.index) ? '' : 'wrong-signer'];
    }
    const p = this.keys.findLast(k => k.id === n.signer && k.hash === n.hash);
    if (p) {
      if (p.until !== null) return [p.key, 'retired-key'];
      return [p.key, this.may(p, e.kind, rights) ? this.change(e, p) : 'wrong-signer'];
    }
    const inv = this.pending.get(n.signer);
    return [inv && inv.hash === n.hash ? inv.key : null, 'wrong-signer'];
  }
  apply(e, signer, rights) { // false: it cannot be
    const roles = e.get('roles') && parseRoles(e.get('roles'));
    switch (e.kind) {
    case 'start': {
      const k = parseVKey(e.get('key') ?? '');
      if (!k || this.start(e, {signer, hash: k.hash})[1] || !roles) return false;
      this.log = parseVKey(e.get('log-key'));
      this.keys.push({id: k.name, key: k.key, hash: k.hash, roles, from: e.index, until: null, by: k.name});
      this.started = true;
      return true;
    }
    case 'join': {
      const by = this.current(signer);
      if (!by || !this.may(by, 'join', rights) || this.change(e, by) || !roles) return false;
      const k = parseVKey(e.get('key'));
      this.pending.set(k.name, {id: k.name, key: k.key, hash: k.hash, roles, by: signer, index: e.index});
      return true;
    }
    case 'accept': {
      const p = this.pending.get(signer);
      if (!p || e.get('entry') !== String(p.index)) return false;
      this.end(signer, e.index);
      this.keys.push({...p, from: e.index, until: null});
      this.pending.delete(signer);
      return true;
    }
    case 'retire': {
      const by = this.current(signer);
      if (!by || this.change(e, by)) return false;
      this.end(e.get('person'), e.index);
    }
    }
    return true;
  }
  end(id, index) { for (const k of this.keys) if (k.id === id && k.until === null) k.until = index; }
}

// ---- order and tree
function outOfOrder(list) {
  const tails = [], before = [];
  list.forEach((p, i) => {
    let lo = 0, hi = tails.length;
    while (lo < hi) { const m = lo + hi >> 1; if (list[tails[m]].stated < p.stated) lo = m + 1; else hi = m; }
    before[i] = lo > 0 ? tails[lo - 1] : -1;
    tails[lo] = i;
  });
  const keep = new Set();
  for (let i = tails.length ? tails[tails.length - 1] : -1; i >= 0; i = before[i]) keep.add(i);
  return list.filter((_, i) => !keep.has(i));
}
class Sequence {
  straight = 0; rest = [];
  add(at, stated) { if (!this.rest.length && at === this.straight && stated === at) this.straight++; else this.rest.push({at, stated}); }
  shifted() { const p = this.rest.find(p => p.at !== p.stated); return p ? p.at : Infinity; }
  faults(signed, size) {
    const bound = Math.max(signed, size), out = [];
    if (!this.rest.length && this.straight === bound) return out;
    const seen = new Set(), inPlace = new Set(this.rest.filter(p => p.at === p.stated).map(p => p.stated)), single = [];
    let end = this.straight;
    for (const p of this.rest) {
      if (p.stated > 2 * bound + 1) { out.push([p.at, 'moved-entry', `here lies an entry that says it is entry ${p.stated}`]); seen.add(p.at); }
      else if (p.stated < this.straight || seen.has(p.stated) || inPlace.has(p.stated) && p.at !== p.stated) out.push([p.at, 'doubled-entry', `entry ${p.stated} lies here once more`]);
      else { seen.add(p.stated); single.push(p); end = Math.max(end, p.stated + 1); }
    }
    if (this.rest.length + this.straight < bound) end = Math.max(end, bound);
    for (let i = this.straight; i < end; i++) {
      const first = i;
      while (i < end && !seen.has(i)) i++;
      if (i > first) out.push([first, 'missing-entry', i - first === 1 ? 'the entry is not there' : `the entries ${first} to ${i - 1} are not there`]);
    }
    for (const p of outOfOrder(single)) out.push([p.at, 'moved-entry', `here lies entry ${p.stated}, out of its order`]);
    return out;
  }
}
class Tree { // the right edge of an RFC 6962 tree
  size = 0; roots = [];
  add(leaf) {
    for (let n = this.size + 1; n % 2 === 0; n /= 2) leaf = sha256(Uint8Array.of(1), this.roots.pop(), leaf);
    this.roots.push(leaf);
    this.size++;
  }
  root() {
    if (!this.size) return base64(sha256());
    let h = this.roots[this.roots.length - 1];
    for (let i = this.roots.length - 2; i >= 0; i--) h = sha256(Uint8Array.of(1), this.roots[i], h);
    return base64(h);
  }
}
const leafOf = raw => sha256(Uint8Array.of(0), raw);

// ---- bundle
const fileName = /^(report\.txt|car(\/[A-Za-z0-9_-][A-Za-z0-9._-]*){1,4})$/;
function locate(name) {
  let m;
  if (name === 'bundle.txt') return {rank: [-2], limit: 1 << 20};
  if ((m = /^blobs\/([0-9a-f]{64})$/.exec(name))) return {rank: [1001, 0, 0, m[1]], blob: m[1], limit: 1 << 30};
  if (fileName.test(name)) return {rank: [-1, 0, 0, name], file: name, limit: 64 << 20};
  if (!(m = /^log-([1-9][0-9]{0,3})\/(.*)$/.exec(name)) || m[1] > 1000) return null;
  const log = m[1] - 1, rest = m[2];
  if (rest === 'checkpoint') return {rank: [log, 2], log, limit: 65536, what: 'checkpoint'};
  if (rest === 'cosigners') return {rank: [log, 3], log, limit: 65536, what: 'cosigners'};
  if (/^keys\/[a-z][a-z0-9.-]{0,62}-[0-9a-f]{8}\.(pem|pub)$/.test(rest)) return {rank: [log, 4, 0, rest], log, limit: 1024, what: 'key', name: rest};
  if ((m = /^entries\/([0-9]{6,})\.note$/.exec(rest)) && isCount(String(BigInt(m[1]))) && m[1] === String(BigInt(m[1])).padStart(6, '0'))
    return {rank: [log, 5, Number(m[1])], log, limit: 1048576 + 1024, what: 'entry', index: Number(m[1])};
  return null;
}
function before(a, b) {
  for (let i = 0; i < 4; i++) {
    const x = a[i] ?? (i === 3 ? '' : 0), y = b[i] ?? (i === 3 ? '' : 0);
    if (x !== y) return x < y;
  }
  return false;
}
const ascending = list => list.every((x, i) => i === 0 || list[i - 1] < x);
function parseManifest(raw) {
  const text = decode(raw), m = {made: null, program: '', practice: false, logs: [], files: []};
  if (text === null) bad('bundle.txt');
  const lines = text.split('\n');
  if (lines[0] !== 'hvproof bundle 1') bad('another kind of file, or of a newer version');
  for (const l of lines.slice(1, -1)) {
    const at = l.indexOf(': '), name = at < 0 ? l : l.slice(0, at), value = at < 0 ? '' : l.slice(at + 2);
    if (name === 'made') m.made = isTime(value) ? value : null;
    else if (name === 'program') { m.program = unescape(value); if (m.program === null) bad('bundle.txt'); }
    else if (name === 'practice') m.practice = value === 'yes';
    else if (name === 'log') { if (!parseOrigin(value) || m.logs.length === 1000) bad('bundle.txt'); m.logs.push(value); }
    else if (name === 'file') {
      const f = /^([0-9a-f]{64}) (.*)$/.exec(value);
      if (!f || !fileName.test(f[2])) bad('bundle.txt');
      m.files.push({digest: f[1], name: f[2]});
    } else bad('bundle.txt: a line');
  }
  const again = 'hvproof bundle 1\n' + `made: ${m.made}\nprogram: ${escape(m.program)}\npractice: ${m.practice ? 'yes' : 'no'}\n` +
    m.logs.map(o => `log: ${o}\n`).join('') + m.files.map(f => `file: ${f.digest} ${f.name}\n`).join('');
  if (again !== text || !m.program || !ascending(m.logs) || !m.logs.length || !ascending(m.files.map(f => f.name)) ||
    new Set(m.files.map(f => f.name.toLowerCase())).size !== m.files.length) bad('bundle.txt is not spelled as it would be printed');
  return m;
}
function open(file) {
  const b = {manifest: null, logs: [], files: new Map(), blobs: new Map(), named: new Set()};
  let last = null;
  for (const [name, data] of members(file)) {
    const p = locate(name);
    if (!p) bad(`${JSON.stringify(name)} is no member of a bundle`);
    if (!last && name !== 'bundle.txt') bad('the first member is not bundle.txt');
    if (last && !before(last, p.rank)) bad(`${name} is there twice, or not in its place`);
    if (data.length > p.limit) bad(`${name} is too large`);
    last = p.rank;
    if (name === 'bundle.txt') {
      b.manifest = parseManifest(data);
      b.logs = b.manifest.logs.map(origin => ({origin, entries: [], keys: new Map(), checkpoint: null, cosigned: null, cosignatures: [], cosigners: null}));
      continue;
    }
    if (p.file) { b.files.set(p.file, data); continue; }
    if (p.blob) { b.blobs.set(p.blob, data); continue; }
    const l = b.logs[p.log];
    if (!l) bad(`${name} is of a log that bundle.txt does not name`);
    if (p.what === 'checkpoint') Object.assign(l, splitCheckpoint(data) ?? {checkpoint: data, cosignatures: []}, {cosigned: data});
    else if (p.what === 'cosigners') l.cosigners = data;
    else if (p.what === 'key') { l.keys.set(p.name, data); if (l.keys.size > 10000) bad('too many keys'); }
    else {
      if (p.index - l.entries.length > 1048576) bad('too many entries are missing');
      for (const line of latin(data).split("\n")) {
        const at = line.indexOf(': ');
        if (at >= 0 && /^[0-9a-fA-F]{64}$/.test(line.slice(at + 2))) b.named.add(line.slice(at + 2).toLowerCase());
      }
      l.entries.push({at: p.index, raw: data});
    }
  }
  if (!last) bad('it is empty');
  for (const f of b.manifest.files) if (!b.files.has(f.name)) bad(f.name + ' is not there');
  if (b.files.size !== b.manifest.files.length) bad('a file that bundle.txt does not name');
  return b;
}
const latinDecoder = new TextDecoder('latin1');
const latin = b => latinDecoder.decode(b);

// ---- cosignatures
function splitCheckpoint(raw) {
  const all = decode(raw), at = all === null ? -1 : all.indexOf('\n\n');
  if (at < 0 || raw.length > 65536) return null;
  const end = all.indexOf('\n', at + 2);
  if (end < 0) return null;
  const own = te.encode(all.slice(0, end + 1)), cosignatures = [];
  if (typeof parseCheckpoint(own) === 'string') return null;
  const lines = all.slice(end + 1).split('\n');
  if (lines.pop() !== '' || lines.length > 16) return null;
  for (const line of lines) {
    const m = /^— ([!-*,-~]{1,100}) ([A-Za-z0-9+/=]+)$/.exec(line), sig = m && unbase64(m[2]);
    if (!sig || sig.length !== 76) return null;
    const time = new DataView(sig.buffer).getBigUint64(4);
    if (time > 253402300799n) return null;
    cosignatures.push({name: m[1], hash: hex(sig.subarray(0, 4)), time: Number(time), signature: sig.slice(12)});
  }
  return {checkpoint: own, cosignatures, text: all.slice(0, at + 1)};
}
async function cosigners(l) { // a string says what is wrong
  let lines = [];
  if (l.cosigners) {
    const text = decode(l.cosigners);
    if (text === null || !text.endsWith('\n')) return 'the list of cosigners';
    lines = text.slice(0, -1).split('\n');
  }
  if (lines.length !== l.cosignatures.length) return 'cosignatures and cosigners are not as many';
  const out = [];
  for (const [i, line] of lines.entries()) {
    const k = line.split('+').length >= 3 && parseVKey(line, 4, /^[!-*,-~]{1,100}$/), c = l.cosignatures[i];
    if (!k || c.name !== k.name || c.hash !== k.hash || !await good(k.key, te.encode(`cosignature/v1\ntime ${c.time}\n${l.text}`), c.signature)) return 'a cosignature';
    out.push({...c, key: k.key});
  }
  return out;
}
function keyFiles(r) {
  const out = new Map();
  const u32 = n => Uint8Array.of(n >>> 24, n >>> 16 & 255, n >>> 8 & 255, n & 255);
  const add = (id, hash, key) => {
    out.set(`keys/${id}-${hash}.pem`, '-----BEGIN PUBLIC KEY-----\n' + base64(join(Uint8Array.from([0x30, 0x2a, 0x30, 5, 6, 3, 0x2b, 0x65, 0x70, 3, 0x21, 0]), key)) + '\n-----END PUBLIC KEY-----\n');
    const kind = te.encode('ssh-ed25519');
    out.set(`keys/${id}-${hash}.pub`, 'ssh-ed25519 ' + base64(join(u32(11), kind, u32(32), key)) + ' ' + id + '\n');
  };
  if (r.log) add('log', r.log.hash, r.log.key);
  for (const k of r.keys) add(k.id, k.hash, k.key);
  return out;
}

// ---- one log
const codes = ['malformed-entry', 'unknown-kind', 'bad-signature', 'wrong-signer', 'retired-key', 'missing-entry', 'doubled-entry', 'moved-entry',
  'foreign-entry', 'bad-root', 'bad-checkpoint', 'rolled-back', 'diverged', 'missing-blob', 'altered-blob', 'practice-as-evidence', 'not-evidence'];
const moves = new Set(['start', 'join', 'accept', 'retire', 'loss']);
const confirms = spec => spec.length >= 2 && spec[0].name === 'entry' && spec[0].need === 'required' && spec[1].name === 'leaf';
async function verifyLog(b, l, schema, rights, options, other) {
  const faults = [], fault = (entry, code, sentence) => faults.push([entry, code, sentence]);
  const origin = l.origin, practice = parseOrigin(origin).practice;
  const size = l.entries.length ? l.entries[l.entries.length - 1].at + 1 : 0;
  let head = parseCheckpoint(l.checkpoint), wrongHead = typeof head === 'string' ? head : '';
  if (wrongHead) head = {size: 0};
  if (!wrongHead && head.size - size > 1048576) { wrongHead = 'far more entries'; head.size = 0; }
  const end = Math.max(size, head.size);
  const compared = other === undefined ? null : parseCheckpoint(other?.checkpoint ?? null);
  const wanted = new Map([[head.size, null]]);
  if (compared && compared.size) wanted.set(compared.size, null);
  const register = new Register(), sequence = new Sequence(), tree = new Tree(), leaves = new Map(), signers = new Map(), losses = new Set(), blobs = new Map();
  let lost = false, rootOff = false, disguise = false, next = 0;
  const pending = [], items = [];
  const flush = async keep => { for (const [at, who, result] of pending.splice(0, pending.length - keep)) if (!await result) fault(at, 'bad-signature', `the signature of ${who} does not belong to this text`); };
  for (let at = 0; at < end; at++) {
    const it = next < l.entries.length && l.entries[next].at === at ? l.entries[next++] : null;
    if (!it) {
      lost = true;
      if (wanted.has(at + 1)) wanted.set(at + 1, lost ? 'unknown' : tree.root());
      continue;
    }
    const n = openNote(it.raw);
    let e = typeof n === 'string' ? n : parseEntry(n.text, n.bytes.length, schema);
    const malformed = typeof e === 'string' ? e : '', ours = !malformed && e.origin === origin;
    const stated = ours ? e.index : at, leaf = leafOf(it.raw), leafText = base64(leaf);
    sequence.add(at, stated);
    if (stated < end) { if (!leaves.has(stated)) leaves.set(stated, leafText); if (!malformed) signers.set(stated, n.signer); }
    if (ours && stated === at && !lost) {
      if (tree.root() === e.root) rootOff = false;
      else if (!rootOff) { rootOff = true; fault(at, 'bad-root', `${n.signer} signed other entries before this one`); }
    }
    if (!lost) tree.add(leaf);
    if (wanted.has(at + 1)) wanted.set(at + 1, lost ? 'unknown' : tree.root());
    if (malformed) { fault(at, 'malformed-entry', malformed); continue; }
    if (e.origin === origin + '/practice') { if (!disguise) fault(at, 'practice-as-evidence', 'entries of a practice log'); disguise = true; continue; }
    if (e.origin !== origin) { fault(at, 'foreign-entry', 'of the log ' + e.origin); continue; }
    const was = faults.length;
    const [key, refused] = register.check(e, n, rights);
    if (refused) fault(at, refused, `the key of ${n.signer} may not sign this`);
    if (e.index === 0 && e.kind !== 'start') fault(at, 'wrong-signer', 'entry 0 is no start');
    const claim = e.get('practice');
    if (claim !== undefined && (claim === 'yes') !== practice) fault(at, 'practice-as-evidence', 'it says of practice something else than the log');
    if (!e.unknown && confirms(schema[e.kind])) {
      const of = Number(e.get('entry'));
      if (of >= e.index) fault(at, 'foreign-entry', `it names entry ${of}, which does not come before`);
      else if (leaves.has(of) && leaves.get(of) !== e.get('leaf')) fault(at, 'foreign-entry', `it names entry ${of} by another hash`);
      else if (['witness', 'release', 'countersign'].includes(e.kind) && signers.get(of) === n.signer) fault(at, 'wrong-signer', `${n.signer} signed entry ${of} too`);
    }
    const allowed = faults.length === was;
    if (key) {
      if (!imported.has(hex(key))) await importKey(key);
      pending.push([at, n.signer, check(key, n.bytes, n.signature)]);
    }
    if (e.unknown) { fault(at, 'unknown-kind', e.kind); continue; }
    for (const d of e.blobs) if (!blobs.has(d)) blobs.set(d, at);
    if (e.kind === 'start') { if (!register.apply(e, n.signer, rights) && allowed) fault(at, 'wrong-signer', 'it cannot be'); }
    else if (allowed && moves.has(e.kind) && await good(key, n.bytes, n.signature)) {
      if (!register.apply(e, n.signer, rights)) fault(at, 'wrong-signer', 'it cannot be');
      else if (e.kind === 'loss') losses.add(e.get('log-size') + ' ' + e.get('log-root'));
    }
    items.push({at, e, signer: n.signer, leaf: leafText});
    if (pending.length >= 2048) await flush(1024);
  }
  await flush(0);
  const count = l.entries.length, place = sequence.faults(head.size, size);
  if (count === 0 && !place.length) place.push([0, 'missing-entry', 'the log has no entries']);
  const misplaced = new Set(place.filter(f => f[1] !== 'missing-entry').map(f => f[0])), faulty = new Set(faults.filter(f => f[1] !== 'bad-root').map(f => f[0]));
  const shifted = sequence.shifted();
  let out = faults.filter(([at, code]) => code === 'bad-root' ? !(faulty.has(at) || at >= shifted)
    : ['wrong-signer', 'retired-key', 'foreign-entry'].includes(code) ? !misplaced.has(at) : true);
  out.push(...place);
  const hadRoot = c => wanted.get(c.size) === 'unknown' || wanted.get(c.size) === c.root;
  const signed = async c => c.origin !== origin ? 'of another log' : !register.log ? 'no entry 0 says with which key' :
    c.note.hash !== register.log.hash || !await good(register.log.key, c.note.bytes, c.note.signature) ? "not signed with the log's key" : '';
  if (count > 0 || l.checkpoint) {
    let wrong = wrongHead || await signed(head);
    if (!wrong && !place.length) wrong = head.size < count ? 'it leaves out entries' : !hadRoot(head) ? 'its root is not that of the entries' : '';
    if (wrong) out.push([wrongHead ? Math.max(count - 1, 0) : head.size - 1, 'bad-checkpoint', wrong]);
  }
  if (compared !== null) out.push(...await compare(compared));
  async function compare(c) {
    if (typeof c === 'string') return [[Math.max(count - 1, 0), 'bad-checkpoint', 'the other copy: ' + c]];
    if (c.origin === origin && register.log && register.log.hash !== c.note.hash) return [[0, 'diverged', 'entry 0 was another one then']];
    const wrong = await signed(c);
    if (wrong && !(c.origin === origin && count === 0)) return [[c.size - 1, 'bad-checkpoint', 'the other copy: ' + wrong]];
    if (losses.has(`${c.size} ${c.root}`)) return [];
    const differs = size => other.entries.find(o => o.at < size && leaves.get(o.at) !== base64(leafOf(o.raw)));
    if (c.size > end) {
      const first = differs(end), out = [[end, 'rolled-back', `the other copy knows ${c.size} entries`]];
      return first ? [...out, [first.at, 'diverged', 'the other copy has another entry here']] : out;
    }
    if (hadRoot(c)) return [];
    const first = differs(c.size);
    return [[first ? first.at : c.size - 1, 'diverged', 'the other copy knows other entries']];
  }
  if (options.evidence && practice) out.push([0, 'not-evidence', 'a practice log']);
  for (const [d, at] of blobs) {
    const data = b.blobs.get(d);
    if (!data) out.push([at, 'missing-blob', d]);
    else if (await digestOf(data) !== d) out.push([at, 'altered-blob', d]);
  }
  out.sort((x, y) => x[0] - y[0] || codes.indexOf(x[1]) - codes.indexOf(y[1]));
  out = out.filter((f, i) => i === 0 || f.some((x, k) => x !== out[i - 1][k]));
  const first = l.entries.length && l.entries[0].at === 0 ? sha256(l.entries[0].raw) : null;
  return {origin, practice, count, register, items, first, root: tree.root(), faults: out.map(([entry, code, sentence]) => ({log: origin, entry, code, sentence}))};
}

// handedOver holds the log that this one goes on from, if it is here, against
// what entry 0 says of it.
function handedOver(b, l, schema) {
  const first = l.entries[0], n = first && first.at === 0 ? openNote(first.raw) : '';
  const e = typeof n === 'string' ? n : parseEntry(n.text, n.bytes.length, schema);
  if (typeof e === 'string' || e.origin !== l.origin || e.index !== 0 || e.kind !== 'start') return [];
  const from = e.get('predecessor'), size = e.get('predecessor-size'), root = e.get('predecessor-root');
  const old = from !== l.origin && size !== undefined && root !== undefined && b.logs.find(o => o.origin === from);
  if (!old) return [];
  const fault = (code, sentence) => [{log: l.origin, entry: 0, code, sentence}], has = old.entries;
  if ((has.length ? has[has.length - 1].at + 1 : 0) < Number(size)) return fault('rolled-back', `${size} entries of ${from} were handed over`);
  const tree = new Tree();
  while (tree.size < Number(size) && has[tree.size].at === tree.size) tree.add(leafOf(has[tree.size].raw));
  return tree.size === Number(size) && tree.root() === root ? [] : fault('diverged', `the first ${size} entries of ${from} are not those that were handed over`);
}

// verify checks a bundle: faults, in the order in which `hvproof verify` has
// them, and what the entries say. older is a bundle to compare with.
async function verify(file, {schema, rights}, options = {}) {
  let b, older = null;
  try { b = open(file); if (options.older) older = open(options.older); } catch (x) {
    if (!(x instanceof Malformed)) throw x;
    return {ok: false, logs: [], faults: [{log: '', entry: 0, code: 'malformed-entry', sentence: x.message}]};
  }
  const logs = [], faults = [];
  for (const l of b.logs) {
    const v = await verifyLog(b, l, schema, rights, options, older ? older.logs.find(o => o.origin === l.origin) : undefined);
    logs.push(v);
    v.faults.push(...handedOver(b, l, schema));
    faults.push(...v.faults);
  }
  for (const o of older?.logs ?? []) if (!b.logs.some(l => l.origin === o.origin)) faults.push({log: '', entry: 0, code: 'rolled-back', sentence: 'a log is not here'});
  for (const [i, l] of b.logs.entries()) {
    const want = keyFiles(logs[i].register);
    for (const [name, data] of l.keys) if (!want.has(name) || want.get(name) !== decode(data)) faults.push({log: l.origin, entry: 0, code: 'wrong-signer', sentence: name + ' is not a key of this log'});
    for (const name of want.keys()) if (!l.keys.has(name)) faults.push({log: l.origin, entry: 0, code: 'wrong-signer', sentence: name + ' is not in the bundle'});
    const by = await cosigners(l);
    if (typeof by === 'string') faults.push({log: l.origin, entry: Math.max(logs[i].count - 1, 0), code: 'bad-checkpoint', sentence: by});
    else logs[i].cosigners = by;
    logs[i].checkpoint = l.checkpoint;
  }
  if (logs.some(l => l.practice) !== b.manifest.practice) faults.push({log: '', entry: 0, code: 'practice-as-evidence', sentence: 'bundle.txt'});
  for (const d of b.blobs.keys()) if (!b.named.has(d)) faults.push({log: '', entry: 0, code: 'altered-blob', sentence: 'no entry names blob ' + d});
  for (const f of b.manifest.files) if (await digestOf(b.files.get(f.name)) !== f.digest) faults.push({log: '', entry: 0, code: 'altered-blob', sentence: f.name});
  return {ok: faults.length === 0, practice: b.manifest.practice, manifest: b.manifest, logs, faults, blobs: b.blobs};
}

// digits prints a digest to be read aloud.
function digits(digest) {
  const n = (BigInt('0x' + hex(digest)) % 10n ** 60n).toString().padStart(60, '0');
  return n.match(/.{5}/g).join(' ');
}
async function supported() {
  try {
    const key = Uint8Array.from('d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a'.match(/../g), h => parseInt(h, 16)); // RFC 8032, 7.1, test 1
    const sig = Uint8Array.from(('e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b').match(/../g), h => parseInt(h, 16));
    return await good(key, new Uint8Array(), sig);
  } catch { return false; }
}
return {verify, supported, sha256, digits, hex, base64, unbase64, unescape, goodKey, formatNumber};
})();
if (typeof module === 'object') module.exports = hvproof;
