package sheet

import (
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// glyphs finds which signs the sheets' font has: those of the Latin, Greek and
// Cyrillic scripts.
var glyphs = sync.OnceValue(func() *sfnt.Font {
	f, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		panic(err) // the font is part of the program
	}
	return f
})

// printable puts a question mark for each sign that the font doesn't have, and
// a space for those that move the pen: what people typed elsewhere mustn't
// break a sheet.
func printable(s string) string {
	var buf sfnt.Buffer
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case unicode.IsControl(r) || r == unicode.ReplacementChar:
			return ' '
		case unicode.In(r, unicode.Cf):
			return -1
		}
		if i, err := glyphs().GlyphIndex(&buf, r); err != nil || i == 0 || r > 0xffff {
			return '?'
		}
		return r
	}, s)
}

// The library's calls that take words, with words that it can write.

func (p *page) CellFormat(w, h float64, txt, border string, ln int, align string, fill bool, link int, linkStr string) {
	p.Fpdf.CellFormat(w, h, strings.ReplaceAll(printable(txt), "\n", " "), border, ln, align, fill, link, linkStr)
}

func (p *page) MultiCell(w, h float64, txt, border, align string, fill bool) {
	p.Fpdf.MultiCell(w, h, printable(txt), border, align, fill)
}

func (p *page) SplitText(txt string, w float64) []string {
	return p.Fpdf.SplitText(printable(txt), w)
}

// fitted sets the font so that words fit into a width, down to the size of
// running text; beyond that it shortens them.
func (p *page) fitted(words, style string, factor, width float64) string {
	return p.fit(words, style, factor, 1, width)
}

// fit does so down to a least size.
func (p *page) fit(words, style string, factor, least, width float64) string {
	words = strings.ReplaceAll(printable(words), "\n", " ")
	for ; factor > least; factor -= 0.05 {
		p.font(style, factor)
		if p.GetStringWidth(words) <= width-2 {
			return words
		}
	}
	p.font(style, least)
	signs := []rune(words)
	for len(signs) > 1 && p.GetStringWidth(string(signs)+"…") > width-2 {
		signs = signs[:len(signs)-1]
	}
	if string(signs) == words {
		return words
	}
	return string(signs) + "…"
}

// capital begins a line with a capital, where what is told may also stand in the
// middle of one.
func capital(words string) string {
	if words == "" {
		return ""
	}
	first, size := utf8.DecodeRuneInString(words)
	return string(unicode.ToUpper(first)) + words[size:]
}
