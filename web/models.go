package web

// Frame is what every page has.
type Frame struct {
	Language string
	Title    string
	Who      string          // "" when nobody signed in
	Estate   string          // whose pages these are
	May      map[string]bool // what the person may do, by package api's actions
	Notice   string
	Script   string // module of the page, "" for none
	Back     *Link

	Languages []LanguageOption // to choose from
	Inches    bool             // the reader's unit of short lengths; else mm
	Here      string           // address of the page, to come back to
	Anybody   bool             // the page is kept by phones and names nobody
}

// Link is a place to go to.
type Link struct{ Text, To string }

// ErrorPage tells what went wrong and what to do.
type ErrorPage struct {
	Frame
	Status  int
	Message string
	To      *Link // where to do what it asks for, nil for nowhere in particular
}

// WaitingPage lists what waits in the phone; its script fills it in.
type WaitingPage struct{ Frame }

// HomePage is the start: where to go, what waits.
type HomePage struct {
	Frame
	Blocks  []BlockLine
	Waiting []WaitingLine
	More    int // that wait beyond those listed
}

// BlockLine is a block in a list.
type BlockLine struct {
	ID                       int64
	Name, Form               string
	Rows, VinesPerRow        int
	Recorded, Waits, Decided int // vines with a photo, waiting for a ruling, with a choice
}

// WaitingLine is a photo that waits for a ruling.
type WaitingLine struct {
	Photo             int64
	Where, When, From string
	Canes             int
}

// NewBlockPage asks for a block.
type NewBlockPage struct {
	Frame
	Forms []FormOption
}

// FormOption is a training form to choose.
type FormOption struct {
	ID, Title, Source string
	Default           bool
}

// BlockPage shows one row of a block at a time.
type BlockPage struct {
	Frame
	ID                    int64
	Name, Form, RuleSet   string
	Rules                 []RuleLine
	Rows, VinesPerRow     int
	Row, Previous, Next   int // Previous and Next are 0 at the ends
	Vines                 []VineCell
	Others                []RowLine // rows with something recorded
	Recorded, Waits, Done int
	Years                 *BlockYears // nil while nothing is recorded
	RowPDF                string
	RowChosen             bool // some vine of the row has a choice
}

// RuleLine is one limit of the block's rule set.
type RuleLine struct{ Limit, Meaning, Source string }

// RowLine is a row that has something recorded.
type RowLine struct{ Row, Vines, Waits int }

// VineCell is a vine in its row. State is "none", "photo", "waits", "ruled" or
// "chosen".
type VineCell struct {
	Number int
	State  string
	Words  string
	To     string
}

// VinePage is a vine's record.
type VinePage struct {
	Frame
	Where           string
	Block           Link
	Previous, Next  *Link
	AddPhoto        string
	Winters         []WinterPart
	Form            string
	NothingRecorded bool
	Years           *YearsPart // nil when nothing is recorded
}

// WinterPart is one winter of a vine.
type WinterPart struct {
	Name   string
	Photos []PhotoPart
	Choice *ChoicePart
}

// PhotoPart is one photo of a winter.
type PhotoPart struct {
	ID                int64
	To, Picture       string
	Received, By      string
	Taken             string // when the camera said; "" when it did not
	State             string // as in package api
	StateWords        string
	Canes             []CaneLine
	Waiting           int    // canes that nobody ruled on
	Rejected          int    // canes that a person said are none
	ChoiceTo          string // "" as long as no cane is confirmed
	RuleSet, Program  string
	Measured          bool
	ReferenceSentence string
}

// CaneLine is a confirmed cane.
type CaneLine struct {
	ID                           int
	Finding, FindingWords        string
	Diameter, Internode, Length  string
	Nodes                        int
	Said, Who, When, ProgramSaid string
	Because                      []string
	OldWood                      bool
}

// ChoicePart is a confirmed choice in words.
type ChoicePart struct {
	Who, When     string
	Keep, Spurs   []string
	Remove        []string
	Ask, Notes    []string
	Missing       []string
	Buds          int
	Changed       bool // otherwise than suggested
	To, Plan      string
	Form, RuleSet string
}

// AddPhotoPage takes a photo of a vine.
type AddPhotoPage struct {
	Frame
	Where, Upload string
	Step          string // of a second photo: to which side it is taken, "left" or "right"; "" for a first one
	Winter        string
	Winters       []string
	LimitMB       int64
}

// LastWinter is what a vine was in the winter before a photo's, to hold beside
// it.
type LastWinter struct {
	Name           string
	Picture, Photo string      // "" when there is no photo
	Choice         *ChoicePart // nil when nobody chose
}

// PhotoPage is a photo in one of its states; its script does the rest.
type PhotoPage struct {
	Frame
	Where       string
	ID          int64
	State       string
	Message     string
	Advice      []string
	Measurement int64
	Picture     string
	Full        string
	WidthPx     int
	HeightPx    int
	AddPhoto    string
	Vine        string
	Winter      string
	Received    string
	By          string
	Last        *LastWinter // nil when nothing is recorded before
}

// ChoicePage is the choice for one vine.
type ChoicePage struct {
	Frame
	Where       string
	Measurement int64
	Photo       string
	Vine        string
	Cautions    []Caution
	Last        *LastWinter // nil when nothing is recorded before
}

// Caution is something to heed, with its source.
type Caution struct{ Text, Source string }

// CardPage offers the printable references.
type CardPage struct {
	Frame
	Here  bool     // whether this service can draw them
	Kinds []string // of references
}

// AboutPage tells what the numbers mean and what to heed.
type AboutPage struct {
	Frame
	Program  string
	Cautions []Caution
	Rules    []RuleLine
	RuleSet  string
}

// SignInPage asks for name and password.
type SignInPage struct {
	Frame
	To string // where to go then
}

// JoinPage is what a one-time link opens.
type JoinPage struct {
	Frame
	Secret    string
	To, By    string // which estate; who made the link
	RoleWords string
	Account   string // whose new password it is for; "" for whoever joins
	Member    string // who is signed in and may join as that; "" for nobody
	Least     int    // characters of a password
}

// AccountPage is a person's own account.
type AccountPage struct {
	Frame
	Role, Hint         string
	EstateID           int64
	Guest              bool // of a demonstration: has nothing to change
	Least, LongestDays int
	Estates            []EstateLine
	Sessions           []SessionLine
	Tokens             []TokenLine
	Scopes             []Choice
}

// EstateLine is an estate that a person belongs to.
type EstateLine struct {
	ID              int64
	Name, RoleWords string
	Here            bool // whose pages are shown
}

// SessionLine is a browser that is signed in.
type SessionLine struct {
	ID          int64
	Began, Seen string
	Here        bool
}

// TokenLine is a token for a program.
type TokenLine struct {
	ID                              int64
	Name, ScopeWords, Expires, Used string
}

// Choice is one of several to choose from.
type Choice struct{ Value, Text, Hint string }

// PeoplePage is who belongs to an estate.
type PeoplePage struct {
	Frame
	Members []MemberLine
	Links   []LinkLine
	Roles   []Choice
}

// MemberLine is a member of an estate.
type MemberLine struct {
	ID                           int64
	Name, Role, RoleWords, Since string
	Self                         bool
	CanSignIn                    bool
}

// LinkLine is a one-time link that still holds.
type LinkLine struct {
	ID                              int64
	RoleWords, By, Expires, Account string
}

// DeletedPage lists photos that are marked as deleted.
type DeletedPage struct {
	Frame
	Photos []DeletedLine
}

// DeletedLine is a photo that is marked as deleted.
type DeletedLine struct {
	ID                            int64
	Where, Winter, Name, By, When string
}

// JobsPage lists jobs of many photos.
type JobsPage struct {
	Frame
	Jobs    []JobLine
	Pattern string // that a new job gets
}

// JobLine is a job in a list.
type JobLine struct {
	To, Name, By, When, State string
	Photos, Done              int
}

// JobPage is one job; its script shows how it goes on.
type JobPage struct {
	Frame
	ID            int64
	Name, Pattern string
	Check         float64
	Alone         bool   // every photo is measured by itself
	RuleSet       string // "" for the program's own
	RuleSets      []string
	Canes         string // address of the table of all canes
	Files         []FileLine
	LimitMB       int64
}

// FileLine is a file that can be had.
type FileLine struct{ Name, To, What string }

// JobCanesPage is the table of all canes of a job with its plots.
type JobCanesPage struct {
	Frame
	ID    int64
	Name  string
	Photo string // address of the page of a photo
}

// JobPhotoPage is one photo of a job with its canes drawn.
type JobPhotoPage struct {
	Frame
	ID           int64
	Path, Cane   string
	Sample       bool // reached while the sample is checked
	Medium, Full string
	Canes        string
}
