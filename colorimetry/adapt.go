package colorimetry

// A ConeSpace is the cone response space in which chromatic adaptation scales.
type ConeSpace int

// Cone spaces.
const (
	Bradford ConeSpace = iota // [13], used by ICC profiles
	CAT16                     // [12]
)

// String returns the name.
func (s ConeSpace) String() string {
	if s == CAT16 {
		return "CAT16"
	}
	return "Bradford"
}

type matrix3 [3][3]float64

func (s ConeSpace) matrix() matrix3 {
	if s == CAT16 {
		return matrix3{ // [12], eq. of step 1
			{0.401288, 0.650173, -0.051461},
			{-0.250268, 1.204414, 0.045854},
			{-0.002079, 0.048952, 0.953127},
		}
	}
	return matrix3{ // [13]
		{0.8951, 0.2664, -0.1614},
		{-0.7502, 1.7135, 0.0367},
		{0.0389, -0.0685, 1.0296},
	}
}

// Adapt returns the color that looks under the white to as c looks under the
// white from, for an observer completely adapted to either (degree of
// adaptation 1). Both whites must belong to the same observer: no adaptation
// turns 2 degree values into 10 degree values. All three have Y on one scale, and
// the whites are above 0.
func (s ConeSpace) Adapt(c, from, to XYZ) XYZ {
	m := s.matrix()
	cone, coneFrom, coneTo := m.times(c), m.times(from), m.times(to)
	return m.inverse().times(XYZ{
		cone.X * coneTo.X / coneFrom.X,
		cone.Y * coneTo.Y / coneFrom.Y,
		cone.Z * coneTo.Z / coneFrom.Z,
	})
}

func (m matrix3) times(c XYZ) XYZ {
	return XYZ{
		m[0][0]*c.X + m[0][1]*c.Y + m[0][2]*c.Z,
		m[1][0]*c.X + m[1][1]*c.Y + m[1][2]*c.Z,
		m[2][0]*c.X + m[2][1]*c.Y + m[2][2]*c.Z,
	}
}

func (m matrix3) inverse() matrix3 {
	// Cofactors with cyclic indices carry their own sign.
	var inv matrix3
	for i := range 3 {
		for j := range 3 {
			a, b, c, d := (j+1)%3, (j+2)%3, (i+1)%3, (i+2)%3
			inv[i][j] = m[a][c]*m[b][d] - m[a][d]*m[b][c]
		}
	}
	det := m[0][0]*inv[0][0] + m[0][1]*inv[1][0] + m[0][2]*inv[2][0]
	for i := range inv {
		for j := range inv[i] {
			inv[i][j] /= det
		}
	}
	return inv
}
