package assess

// Source says what a cane grew from.
type Source string

// What a cane can have grown from.
const (
	FromHeadWood Source = "head"
	FromSpur     Source = "spur"     // one that was left last winter
	FromOldWood  Source = "old_wood" // anything older, last winter's fruiting cane among it
	FromUnknown  Source = "unknown"
)

// Descent is what a cane of one winter grew from.
type Descent struct {
	Cane int    `json:"cane"` // its number this winter
	From Source `json:"from"`
	// Parent is the number, in ParentWinter, of the cane that was cut to the
	// spur or laid; 0 where there's none.
	Parent       int    `json:"parent,omitempty"`
	ParentWinter string `json:"parent_winter,omitempty"`
	// Sure is true when a person said so; else it's read from where the canes
	// stand in the two winters' photos.
	Sure bool     `json:"sure"`
	Why  Sentence `json:"why"`
}

// InWords is "the spur on cane 5 of 2025/26", "the head", "older wood" or
// "unknown".
func (d Descent) InWords() Sentence {
	switch d.From {
	case FromHeadWood:
		return Tell("the head")
	case FromSpur:
		if d.Parent > 0 {
			return Tell("the spur on cane %d of %s", d.Parent, d.ParentWinter)
		}
		return Tell("a spur")
	case FromOldWood:
		if d.Parent > 0 {
			return Tell("cane %d of %s, which is old wood now", d.Parent, d.ParentWinter)
		}
		return Tell("older wood")
	}
	return Tell("unknown")
}
