// Package photo turns the bytes of a file into an upright picture in memory,
// within limits that are checked before anything is decoded.
//
// In: the bytes of a JPEG, PNG or WebP file. Out: an 8-bit BGR picture turned
// upright by its EXIF orientation, with the table that takes its gamma-coded
// values to linear light (sRGB, IEC 61966-2-1), and the focal length in pixels
// when the file tells it.
//
// When unsure it refuses: a file that ends before its picture does is an
// error, since OpenCV would fill the rest with grey and a cane could be
// measured on it.
package photo
