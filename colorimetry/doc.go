// Package colorimetry turns reflectance spectra, tristimulus values and sRGB
// swatches into CIELAB, and CIELAB pairs into color differences and indices.
// It knows color and nothing of what is colored.
//
// # Scales
//
// Reflectance is a factor (1 = perfect diffuser), XYZ is on the scale where a
// perfect diffuser has Y = 100, L* runs 0..100, a* and b* are in CIELAB units,
// wavelengths are whole nanometers, hue angles are degrees in [0, 360).
//
// # Viewing
//
// A color is seen under an illuminant by an observer. That pair is a [Viewing]
// and is always an argument, never a silent default. XYZ or Lab values of two
// viewings must not be compared; no matrix turns a 2 degree value into a
// 10 degree value.
//
// # Fluorescence
//
// An optical brightener turns ultraviolet into blue light. What an instrument
// reads of such cloth is a radiance factor that depends on the ultraviolet of
// its own lamp, where a reflectance factor depends on no lamp (CIE 15:2018 and
// ISO 11475, both from memory). Colors under another lamp, and metamerism, are
// computed from it as if it were a reflectance, which they are not:
// [Spectrum.LampWarning] says so where values above 1 show it. Measurements with
// the ultraviolet filtered out depend on no lamp, but are not what eyes see.
//
// # Errors
//
// What comes from outside ([NewSpectrum], [ParseViewing], [ReadImage]) is
// checked once and gives an error. Kernels trust their input and panic on
// slices of the wrong length. NaN in gives NaN out; the constructors keep it out.
//
// # References
//
//	[1]  CIE 15:2018, Colorimetry, 4th edition; ISO/CIE 11664-1 to -4
//	[2]  ASTM E308, Computing the Colors of Objects by Using the CIE System
//	[3]  ASTM E2022, Calculation of Weighting Factors for Tristimulus Integration
//	[4]  Sharma, Wu, Dalal, The CIEDE2000 color-difference formula:
//	     implementation notes, supplementary test data, and mathematical
//	     observations, Color Res. Appl. 30(1), 2005, 21-30; ISO/CIE 11664-6
//	[5]  CIE 116-1995, Industrial colour-difference evaluation (CIE94)
//	[6]  Clarke, McDonald, Rigg, Modification to the JPC79 colour-difference
//	     formula, J. Soc. Dyers Colour. 100, 1984, 128-132; ISO 105-J03
//	[7]  ISO 105-J02; ASTM E313 (whiteness, tint, yellowness)
//	[8]  ISO 105-A02, A03, A04, A05 (gray scales; formulas from memory)
//	[9]  IEC 61966-2-1, sRGB
//	[10] Kubelka, New contributions to the optics of intensely light-scattering
//	     materials, J. Opt. Soc. Am. 38, 1948, 448-457
//	[11] Saunderson, Calculation of the color of pigmented plastics,
//	     J. Opt. Soc. Am. 32, 1942, 727-736
//	[12] Li et al., Comprehensive color solutions: CAM16, CAT16, and CAM16-UCS,
//	     Color Res. Appl. 42(6), 2017, 703-718
//	[13] Lam, Metamerism and colour constancy, thesis, University of Bradford,
//	     1985 (the Bradford cone matrix; also ICC.1 annex E)
//	[14] Finlayson, Mackiewicz, Hurlbert, Color correction using root-polynomial
//	     regression, IEEE Trans. Image Process. 24(5), 2015, 1460-1470
//	[15] TIFF, revision 6.0, 1992, section 8, and JEITA CP-3451 (EXIF), tag
//	     274, Orientation (both from memory)
package colorimetry
