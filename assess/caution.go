package assess

// Caution is something to heed before cutting, shown where the act happens.
type Caution struct {
	Text   string `json:"text"`
	Source string `json:"source"`
}

// Cautions are shown with every choice, in the app and on paper. They defer to
// local rules and to advice from who knows the place.
func Cautions() []Caution {
	return []Caution{
		{"This is a suggestion from a photo. Look at each cane before you cut; what you see on the vine stands above it. Local rules and qualified advice come first.", noSource},
		{"Prune in dry weather, and not in the 36 hours after rain: wet wounds take up the spores of trunk diseases.",
			"New Zealand and Australian vine magazine 18(2), https://issuu.com/vine-magazine/docs/18_2_vinemag_fin2_digital/s/15789649"},
		{"Don't prune frozen vines: the wood is brittle and breaks.", "Washington Post garden columns 1977-01-28, 1978-03-03"},
		{"Avoid cuts wider than 15 mm on the trunk and cuts into wood older than two years; protect at once those that can't be avoided.",
			"Vineyard magazine, Focusing on pruning, https://vineyardmagazine.co.uk/agronomy/focusing-on-pruning"},
		{"Short internodes, forked or stunted canes can be signs of a virus or a trunk disease: mark the vine and have it looked at.",
			"Vineyard magazine, https://vineyardmagazine.co.uk/grape-growing/pruning-and-canopy-management"},
		{"Clean the tools before you move on to another site and after a suspect vine.", "sources differ on trunk diseases; viruses can be carried"},
		{"Wear safety glasses and gloves: canes whip back when they're pulled out of the wires.",
			"Oregon State Extension, How to cane prune grapevines (glasses); the rest " + noSource},
		{"Tighten the fruiting wire and check its posts before tying down; never cut or loosen a wire under tension, and keep fingers clear of it.",
			"Cool Climate Classroom, https://coolclimateclassroom.com/viticulture/pruning (first part); the rest " + noSource},
		{"Keep secateurs sharp, rest a few minutes each hour, and warm up first on cold days.",
			"Peninsula Hand Therapy, https://peninsulahandtherapy.com.au/preventing-hand-injuries-in-pruners"},
	}
}
