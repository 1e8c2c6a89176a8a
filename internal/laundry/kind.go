package laundry

import "fmt"

// Kind names the physics of a simulated laundry; the package comment has the table.
type Kind int

// The kinds of physics.
const (
	PowerLaw Kind = iota
	Depletion
	RingDyed
	Contact
	Release
	Decay
	Mixed
)

// Kinds lists every kind.
func Kinds() []Kind {
	return []Kind{PowerLaw, Depletion, RingDyed, Contact, Release, Decay, Mixed}
}

// String returns the kind's name, such as "ring-dyed".
func (k Kind) String() string {
	switch k {
	case PowerLaw:
		return "power-law"
	case Depletion:
		return "depletion"
	case RingDyed:
		return "ring-dyed"
	case Contact:
		return "contact"
	case Release:
		return "release"
	case Decay:
		return "decay"
	case Mixed:
		return "mixed"
	}
	return fmt.Sprintf("Kind(%d)", int(k))
}
