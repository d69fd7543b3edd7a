// Package words holds every sentence the assistant says: by key, in two
// registers, in files that a second language is added beside. It knows no
// rules of the job and computes nothing.
package words

import (
	"embed"
	"fmt"
	"sort"
	"strings"
	"sync"

	"github.com/BurntSushi/toml"
	"github.com/nicksnyder/go-i18n/v2/i18n"
	"golang.org/x/text/language"
)

// Files are named <subject>.<language>.toml. In them a key stands for trade
// words; the same key with "~plain" behind it is its plain wording, needed
// only where the two differ.
//
//go:embed en/*.toml
var files embed.FS

const plainMark = "~plain"

// Args are the figures and words a sentence is filled with, by name.
type Args map[string]any

// Catalogue finds sentences. It is safe for concurrent use.
type Catalogue struct {
	ids  map[string]bool
	loc  *i18n.Localizer
	keys []string

	fixed map[string]string // sentences without figures and numbers: found without a template
}

// Default is the English catalogue, read once.
var Default = sync.OnceValue(func() *Catalogue {
	c, err := New("en")
	if err != nil {
		panic(err) // the files are part of the program: a test reads them all
	}
	return c
})

// New reads the catalogue of a language.
func New(lang string) (*Catalogue, error) {
	tag, err := language.Parse(lang)
	if err != nil {
		return nil, fmt.Errorf("catalogue %q: %w", lang, err)
	}
	b := i18n.NewBundle(tag)
	b.RegisterUnmarshalFunc("toml", toml.Unmarshal)
	names, err := files.ReadDir(lang)
	if err != nil {
		return nil, fmt.Errorf("catalogue %q: %w", lang, err)
	}
	c := &Catalogue{ids: map[string]bool{}, fixed: map[string]string{}}
	for _, n := range names {
		data, err := files.ReadFile(lang + "/" + n.Name())
		if err != nil {
			return nil, fmt.Errorf("catalogue %q: %w", lang, err)
		}
		f, err := b.ParseMessageFileBytes(data, n.Name())
		if err != nil {
			return nil, fmt.Errorf("catalogue %s: %w", n.Name(), err)
		}
		for _, m := range f.Messages {
			if c.ids[m.ID] {
				return nil, fmt.Errorf("catalogue %s: %s stands twice", n.Name(), m.ID)
			}
			c.ids[m.ID] = true
			if m.One == "" && m.Other != "" && !strings.Contains(m.Other, "{{") {
				c.fixed[m.ID] = strings.TrimSpace(m.Other)
			}
			c.keys = append(c.keys, m.ID)
		}
	}
	sort.Strings(c.keys)
	c.loc = i18n.NewLocalizer(b, lang)
	return c, nil
}

// Has says whether a key is in the catalogue.
func (c *Catalogue) Has(key string) bool { return c.ids[key] }

// Keys lists every key, plain wordings included.
func (c *Catalogue) Keys() []string { return c.keys }

// Say gives a sentence, plainly worded where plain is asked for and there is
// a plain wording. Count in args chooses between one and many. A key that is
// missing is shown as such: a test looks for them.
func (c *Catalogue) Say(key string, plain bool, args Args) string {
	id := key
	if plain && c.ids[key+plainMark] {
		id = key + plainMark
	}
	if s, ok := c.fixed[id]; ok {
		return s
	}
	cfg := i18n.LocalizeConfig{MessageID: id, TemplateData: map[string]any(args)}
	if n, ok := args["Count"]; ok {
		cfg.PluralCount = n
	}
	s, err := c.loc.Localize(&cfg)
	if err != nil {
		return "‹" + key + "›"
	}
	return strings.TrimSpace(s)
}
