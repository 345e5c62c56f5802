package hydro

// The small expression language of calculation sheets.

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Evaluate works an expression: numbers, symbols, + - * / ^ (power, binding to the
// right), parentheses, and the functions sqrt, ln, log10, sin, cos, asin, acos
// (radians), min, max, abs. pi is known. An unknown symbol, or anything that is no
// expression, is an error that says where.
func Evaluate(expression string, symbols map[string]float64) (float64, error) {
	p := parser{text: expression, symbols: symbols}
	v, err := p.sum()
	if err != nil {
		return 0, err
	}
	if p.space(); p.at < len(p.text) {
		return 0, p.fail("unexpected %q", p.text[p.at:])
	}
	return v, nil
}

type parser struct {
	text    string
	at      int
	depth   int
	symbols map[string]float64
}

func (p *parser) fail(format string, args ...any) error {
	return fmt.Errorf("formula %q at %d: %s", p.text, p.at+1, fmt.Sprintf(format, args...))
}

func (p *parser) space() {
	for p.at < len(p.text) && p.text[p.at] == ' ' {
		p.at++
	}
}

// take consumes one of the bytes in set and returns it, or 0.
func (p *parser) take(set string) byte {
	p.space()
	if p.at < len(p.text) && strings.IndexByte(set, p.text[p.at]) >= 0 {
		p.at++
		return p.text[p.at-1]
	}
	return 0
}

func (p *parser) sum() (float64, error) {
	v, err := p.product()
	for err == nil {
		var w float64
		switch p.take("+-") {
		case '+':
			w, err = p.product()
			v += w
		case '-':
			w, err = p.product()
			v -= w
		default:
			return v, nil
		}
	}
	return 0, err
}

func (p *parser) product() (float64, error) {
	v, err := p.sign()
	for err == nil {
		var w float64
		switch p.take("*/") {
		case '*':
			w, err = p.sign()
			v *= w
		case '/':
			w, err = p.sign()
			v /= w
		default:
			return v, nil
		}
	}
	return 0, err
}

func (p *parser) sign() (float64, error) {
	if p.take("-") != 0 {
		v, err := p.sign()
		return -v, err
	}
	return p.power()
}

func (p *parser) power() (float64, error) {
	v, err := p.atom()
	if err != nil || p.take("^") == 0 {
		return v, err
	}
	w, err := p.sign()
	return math.Pow(v, w), err
}

func (p *parser) atom() (float64, error) {
	if p.depth++; p.depth > 100 {
		return 0, p.fail("nested too deeply")
	}
	defer func() { p.depth-- }()
	if p.take("(") != 0 {
		v, err := p.sum()
		if err == nil && p.take(")") == 0 {
			err = p.fail("a parenthesis is not closed")
		}
		return v, err
	}
	p.space()
	start := p.at
	for p.at < len(p.text) && part(p.text[p.at], p.at > start) {
		p.at++
	}
	if name := p.text[start:p.at]; name != "" {
		return p.named(name)
	}
	for p.at < len(p.text) && (p.text[p.at] >= '0' && p.text[p.at] <= '9' || p.text[p.at] == '.' ||
		(p.text[p.at] == 'e' && p.at > start) || (p.text[p.at] == '-' && p.at > start && p.text[p.at-1] == 'e')) {
		p.at++
	}
	v, err := strconv.ParseFloat(p.text[start:p.at], 64)
	if err != nil {
		return 0, p.fail("a number or a symbol is wanted")
	}
	return v, nil
}

// part says whether a byte belongs to a symbol.
func part(c byte, inside bool) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || inside && (c >= '0' && c <= '9' || c == '_')
}

func (p *parser) named(name string) (float64, error) {
	if p.take("(") == 0 {
		if v, ok := p.symbols[name]; ok {
			return v, nil
		}
		if name == "pi" {
			return math.Pi, nil
		}
		return 0, p.fail("symbol %s has no value", name)
	}
	var args []float64
	for {
		v, err := p.sum()
		if err != nil {
			return 0, err
		}
		args = append(args, v)
		switch p.take(",)") {
		case ',':
			continue
		case ')':
			return p.call(name, args)
		}
		return 0, p.fail("a comma or a parenthesis is wanted")
	}
}

func (p *parser) call(name string, args []float64) (float64, error) {
	one := map[string]func(float64) float64{"sqrt": math.Sqrt, "ln": math.Log, "log10": math.Log10,
		"sin": math.Sin, "cos": math.Cos, "asin": math.Asin, "acos": math.Acos, "abs": math.Abs}
	if f, ok := one[name]; ok && len(args) == 1 {
		return f(args[0]), nil
	}
	if pick, ok := map[string]func(a, b float64) float64{"min": math.Min, "max": math.Max}[name]; ok {
		v := args[0]
		for _, a := range args[1:] {
			v = pick(v, a)
		}
		return v, nil
	}
	return 0, p.fail("no function %s of %d values", name, len(args))
}
