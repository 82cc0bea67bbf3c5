package web

// ExercisesPage lists the exercises in which somebody takes part, and a
// trainer's groups.
type ExercisesPage struct {
	Frame
	Mine   []ExerciseLine
	Groups []GroupLine
}

// ExerciseLine is an exercise in a list.
type ExerciseLine struct {
	To, Name, Group, Trainer, When string
	Vines, Done                    int // choices to seal, and sealed ones
	Open                           bool
	Together                       string // how far the participants agree
}

// GroupLine is a group in a list.
type GroupLine struct {
	To, Name           string
	Members, Exercises int
}

// GroupPage is a trainer's group.
type GroupPage struct {
	Frame
	ID        int64
	Name, New string
	People    []PersonLine
	Exercises []ExerciseLine
	Growth    []GrowthLine
}

// PersonLine is somebody who is or can be in a group.
type PersonLine struct {
	ID         int64
	Name, Role string
	In         bool
}

// GrowthLine is how far somebody agreed with the trainer, exercise by exercise.
type GrowthLine struct {
	Name  string
	Cells []GrowthCell
}

// GrowthCell is one exercise of it; Words is "" where the person took no part.
type GrowthCell struct{ To, Words string }

// NewExercisePage makes an exercise.
type NewExercisePage struct {
	Frame
	Group           int64
	Most            int // vines
	Blocks          []BlockOption
	Photos          []TeachablePhoto
	People          []PersonLine
	Modes, Judgings []Choice
	Forms           []FormOption
}

// BlockOption is a block to choose.
type BlockOption struct {
	ID     int64
	Name   string
	Chosen bool
}

// TeachablePhoto is a photo that an exercise can be made of.
type TeachablePhoto struct {
	ID                    int64
	Where, Words, Picture string
}

// ExercisePage is one exercise, for a participant or its trainer.
type ExercisePage struct {
	Frame
	ID                       int64
	Name, Trainer            string
	Trains, Open             bool
	Chooses                  bool // the reader chooses too
	OpenedWhen               string
	Mode, ModeHint, Judging  string
	Sheet, Results, Together string
	Vines                    []ExerciseVine
	People                   []Link
	Waits                    int // vines for which the reader chose nothing yet
	Unsealed                 int // choices of participants that aren't sealed yet
}

// ExerciseVine is a vine of an exercise. State is "open", "sealed" or "passed".
type ExerciseVine struct {
	N                                              int
	Where, Picture, To, State, StateWords, Compare string
	People                                         []ExerciseCell
}

// ExerciseCell is how far a participant is with a vine; State can be "judged"
// too.
type ExerciseCell struct{ Name, State, Words, To string }

// AttemptPage is where a choice is made and sealed.
type AttemptPage struct {
	Frame
	Where, Exercise, Mode, Data, Next, Compare string
	About                                      string // whose choice a trainer goes through
	AboutID                                    int64
	Trains                                     bool
	Cautions                                   []Caution
}

// ComparePage shows two choices beside each other.
type ComparePage struct {
	Frame
	Where, Participant, Trainer, Data, Results, Judging string
	WhoID                                               int64
	Trains                                              bool
	Review, Own, AddPhoto                               string
}

// ResultsPage is how somebody stands.
type ResultsPage struct {
	Frame
	Exercise, Participant, Trainer, PDF string
	Open, Reviewed                      bool
	Figures                             []FigureRow
	Vines                               []VineResult
	Over                                []OverLine
	Mistakes                            []MistakeLine
}

// FigureRow is the agreement in one kind of decision.
type FigureRow struct{ Kind, Count, Kappa string }

// VineResult is the agreement on one vine.
type VineResult struct{ Where, Words, To string }

// OverLine is the agreement in one exercise of several.
type OverLine struct {
	Name, When, Words string
	Here              bool
}

// MistakeLine is what recurs, with the vines to look at again.
type MistakeLine struct {
	Words string
	Vines []Link
}
