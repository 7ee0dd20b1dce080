//go:build outside

package main

import (
	"fmt"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What the page promises in millimetres and points, at the 96 px to the inch
// of CSS Values and Units 3, section 5.2: 15 mm are 56.7 px, 5 mm are 18.9 px,
// 18 pt are 24 px. Half a pixel is what a layout may round off.
const (
	keySize  = 15 * 96 / 25.4
	keyGap   = 5 * 96 / 25.4
	textSize = 18 * 96 / 72.0
	rounding = 0.5
)

// measured is what a page shows, in CSS pixels.
type measured struct {
	Keys  int
	Small []string // keys that are too small
	Near  []string // pairs that are too near to each other
	Texts int
	Pale  []string // texts with too little contrast
	Fine  []string // prompts and readings in too small a type
}

// measuring gives every control's rectangle and every text's contrast. A control
// that lies in the fixed foot is held against the foot's edge: what scrolls
// beneath the foot can come as near as that. Contrast is that of WCAG 2.2,
// "relative luminance", of the text's colour against the first opaque colour
// behind it; a text that is see-through anywhere counts as pale.
const measuring = `((size, gap, type) => {
	const out = {Keys: 0, Small: [], Near: [], Texts: 0, Pale: [], Fine: []};
	const name = (e) => e.outerHTML.replace(/\s+/g, " ").slice(0, 90), round = (x) => Math.round(x * 10) / 10;
	const seen = (e) => e.checkVisibility({visibilityProperty: true, opacityProperty: true});
	const all = new Set();
	for (const e of document.querySelectorAll("a[href], button, summary, select, textarea, input:not([type=hidden]), [role=button]"))
		if (seen(e)) all.add(e.matches("[type=radio], [type=checkbox]") ? e.closest("label") : e);
	const keys = [...all].map((e) => ({e, r: e.getBoundingClientRect(), fixed: !!e.closest(".foot")}));
	out.Keys = keys.length;
	const foot = document.querySelector(".foot")?.getBoundingClientRect();
	for (const k of keys) {
		if (k.r.width < size || k.r.height < size) out.Small.push(round(k.r.width) + "×" + round(k.r.height) + " " + name(k.e));
		if (k.fixed && k.r.top - foot.top < gap) out.Near.push(round(k.r.top - foot.top) + " to the foot's edge: " + name(k.e));
	}
	for (let i = 0; i < keys.length; i++) for (let j = i + 1; j < keys.length; j++) {
		const a = keys[i], b = keys[j];
		if (a.fixed !== b.fixed) continue;
		const dx = Math.max(0, Math.max(a.r.left, b.r.left) - Math.min(a.r.right, b.r.right));
		const dy = Math.max(0, Math.max(a.r.top, b.r.top) - Math.min(a.r.bottom, b.r.bottom));
		if (Math.hypot(dx, dy) < gap) out.Near.push(round(Math.hypot(dx, dy)) + " between " + name(a.e) + " and " + name(b.e));
	}
	const rgb = (text) => { const m = text.match(/[\d.]+/g).map(Number); return {c: m.slice(0, 3), a: m.length > 3 ? m[3] : 1}; };
	const light = (c) => { const [r, g, b] = c.map((x) => x / 255).map((x) => x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
	const behind = (e) => { for (; e; e = e.parentElement) { const b = rgb(getComputedStyle(e).backgroundColor); if (b.a === 1) return b.c; if (b.a > 0) return null; } return [255, 255, 255]; };
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	for (let n = walk.nextNode(); n; n = walk.nextNode()) {
		const e = n.parentElement;
		if (!n.data.trim() || !seen(e) || e.closest("template, script")) continue;
		out.Texts++;
		const s = getComputedStyle(e), fore = rgb(e.closest("svg") ? s.fill : s.color), back = behind(e);
		let clear = fore.a < 1 || !back;
		for (let p = e; p; p = p.parentElement) clear = clear || getComputedStyle(p).opacity !== "1";
		const [hi, lo] = clear ? [0, 0] : [light(fore.c), light(back)].sort((x, y) => y - x);
		const ratio = (hi + 0.05) / (lo + 0.05);
		if (ratio < 7) out.Pale.push(round(ratio) + " " + n.data.trim().slice(0, 60) + " in " + name(e));
	}
	for (const e of document.querySelectorAll("#main h1, .prompt, .value, .said, .big, .words, #digits, [data-number], .keys .key, .caution.here p"))
		if (seen(e) && parseFloat(getComputedStyle(e).fontSize) < type) out.Fine.push(getComputedStyle(e).fontSize + " " + name(e));
	return out;
})`

// measure holds what is on the screen against the promises.
func (p *tab) measure(at string) {
	p.t.Helper()
	var m measured
	p.eval(fmt.Sprintf("%s(%g, %g, %g)", measuring, keySize-rounding, keyGap-rounding, textSize), &m)
	require.NotZero(p.t, m.Keys, at)
	require.NotZero(p.t, m.Texts, at)
	assert.Empty(p.t, m.Small, "smaller than 15 mm: %s", at)
	assert.Empty(p.t, m.Near, "nearer than 5 mm: %s", at)
	assert.Empty(p.t, m.Pale, "contrast below 7 to 1: %s", at)
	assert.Empty(p.t, m.Fine, "smaller than 18 pt: %s", at)
}
