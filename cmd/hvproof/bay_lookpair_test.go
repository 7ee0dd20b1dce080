//go:build outside

package main

import (
	"bufio"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBayLookPair looks at what only a shared page shows: pairing, the devices
// with their code and fingerprint; and a device that is thrown out while it is
// looked at says so by itself.
func TestBayLookPair(t *testing.T) {
	source, shots := axe(t), os.Getenv("HVPROOF_SHOTS")
	c := newWalkCounter(t)
	c.kill()
	c.process = exec.Command("hvproof", "-C", c.dir, "bay", "--lan", "--port", "0")
	c.process.Env = append(os.Environ(), "HVPROOF_CONFIG="+c.config, "HVPROOF_NOW="+c.clock())
	out, err := c.process.StdoutPipe()
	require.NoError(t, err)
	talk, err := c.process.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, c.process.Start())
	address, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	address = strings.TrimSpace(address)
	require.Regexp(t, `^https://`, address)
	code := ""
	lines := bufio.NewScanner(talk)
	for lines.Scan() {
		if m := regexp.MustCompile(`pairing code\s+(\d{8})`).FindStringSubmatch(lines.Text()); m != nil {
			code = m[1]
			break
		}
	}
	require.NotEmpty(t, code)
	go func() {
		for lines.Scan() { // so that the program is never held up
		}
	}()
	b := newBrowser(t)
	one, two := b.newTab(1280, 800), b.newTab(390, 844)
	pair := func(p *tab, name, code string) {
		p.touch("#code")
		p.insert(code)
		p.touch("input[name=name]")
		p.insert(name)
		p.touch("#main form button")
		p.wait(`document.querySelector(".nav")`)
	}
	one.open(address)
	require.Contains(t, one.text(), "Pair this device")
	time.Sleep(1500 * time.Millisecond)
	var lost bool
	one.eval(`document.body.classList.contains("lost")`, &lost)
	require.False(t, lost, "a page that listens to nothing cannot know that it is not connected")
	one.inspect("pair", source, shots)
	pair(one, "tablet", code)
	one.open(address + "/people")
	one.touch(`#main form[action="/people/code"] button`)
	one.wait(`document.querySelector("#main .big")`)
	one.eval(`document.querySelector("#main .big").textContent`, &code)
	one.inspect("people-shared", source, shots)
	two.open(address)
	pair(two, "phone", code)
	one.open(address + "/people")
	one.wait(`document.body.innerText.includes("phone")`)
	var id string
	one.eval(`[...document.querySelectorAll("#main .way > li")].find((li) => li.innerText.includes("phone")).querySelector("button").value`, &id)
	one.touch(`#main button[value="` + id + `"]`)
	two.wait(`document.body.innerText.includes("Pair this device")`)
	two.open(address + "/run")
	assert.Contains(t, two.text(), "Pair this device")
}
