package assess

// Caution is something to heed before cutting, shown where the act happens.
type Caution struct {
	Text   Sentence `json:"text"`
	Source Sentence `json:"source"`
}

// Cautions are shown with every choice, in the app and on paper. They defer to
// local rules and to advice from who knows the place.
func Cautions() []Caution {
	return []Caution{
		{Tell("This is a suggestion from a photo. Look at each cane before you cut; what you see on the vine stands above it. Local rules and qualified advice come first."), Tell(noSource)},
		{Tell("Prune in dry weather, and not in the 36 hours after rain: wet wounds take up the spores of trunk diseases."),
			cited("New Zealand and Australian vine magazine 18(2), https://issuu.com/vine-magazine/docs/18_2_vinemag_fin2_digital/s/15789649")},
		{Tell("Don't prune frozen vines: the wood is brittle and breaks."), cited("Washington Post garden columns 1977-01-28, 1978-03-03")},
		{Tell("Avoid cuts wider than %s on the trunk and cuts into wood older than two years; protect at once those that can't be avoided.", mm(15, 0)),
			cited("Vineyard magazine, Focusing on pruning, https://vineyardmagazine.co.uk/agronomy/focusing-on-pruning")},
		{Tell("Short internodes, forked or stunted canes can be signs of a virus or a trunk disease: mark the vine and have it looked at."),
			cited("Vineyard magazine, https://vineyardmagazine.co.uk/grape-growing/pruning-and-canopy-management")},
		{Tell("Clean the tools before you move on to another site and after a suspect vine."), Tell("sources differ on trunk diseases; viruses can be carried")},
		{Tell("Wear safety glasses and gloves: canes whip back when they're pulled out of the wires."),
			Tell("%s (glasses); the rest common practice, no source", "Oregon State Extension, How to cane prune grapevines")},
		{Tell("Tighten the fruiting wire and check its posts before tying down; never cut or loosen a wire under tension, and keep fingers clear of it."),
			Tell("%s (first part); the rest common practice, no source", "Cool Climate Classroom, https://coolclimateclassroom.com/viticulture/pruning")},
		{Tell("Keep secateurs sharp, rest a few minutes each hour, and warm up first on cold days."),
			cited("Peninsula Hand Therapy, https://peninsulahandtherapy.com.au/preventing-hand-injuries-in-pruners")},
	}
}
