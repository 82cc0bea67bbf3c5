// Package apart measures photos in a process of their own: the same program,
// for one photo, with bounds on memory and time, that ends with it. A fault in a
// codec, or an image made to do harm, then takes neither the service nor its
// data with it.
//
// Loading the program with OpenCV takes longer than many a thing that it is asked
// to do. So on Linux it is loaded once, and processes are forked from it before
// anything in it has begun (the fork server); elsewhere each is started anew.
//
// Runner fulfils assess.Measurer by such processes; Serve is what runs
// in it. Between them go, over standard input, the length of a JSON head (four
// bytes, big-endian), the head, and to the end the photo's bytes, with those of a
// second stance after them when there is one; over standard
// output one JSON answer, or a JPEG for a copy. The process gets no
// environment, opens no network connection, and may write no file.
package apart
