package bare

import (
	"bytes"
	"encoding/binary"
	"strings"
)

// The tags that are read and kept, by EXIF 2.32; all others are passed over.
const (
	tagOrientation  = 0x0112
	tagChanged      = 0x0132 // DateTime
	tagExif         = 0x8769 // where the second list of tags begins
	tagTaken        = 0x9003 // DateTimeOriginal
	tagOffset       = 0x9011 // OffsetTimeOriginal
	tagFocalLength  = 0x920a
	tagFocalLength5 = 0xa405 // FocalLengthIn35mmFilm
)

// mostTags bounds a list of tags; cameras write some sixty.
const mostTags = 1000

// notesOf reads the notes of a photo, as far as they are whole. It reads a few
// tags of a known size where they should be, and nothing that the file claims
// to be large, since a file may claim anything.
func notesOf(photo []byte) notes {
	var n notes
	data := exifOf(photo)
	if len(data) < 8 {
		return n
	}
	var order binary.ByteOrder = binary.BigEndian
	switch string(data[:4]) {
	case "II\x2a\x00":
		order = binary.LittleEndian
	case "MM\x00\x2a":
	default:
		return n
	}
	at := func(offset uint32, size int) []byte {
		if int64(offset)+int64(size) > int64(len(data)) {
			return nil
		}
		return data[offset : int(offset)+size]
	}
	changed := ""
	second := uint32(0)
	list := func(begin uint32) {
		head := at(begin, 2)
		if head == nil {
			return
		}
		for i := range min(int(order.Uint16(head)), mostTags) {
			e := at(begin+2+uint32(i)*12, 12)
			if e == nil {
				return
			}
			id, kind, count := order.Uint16(e), order.Uint16(e[2:]), order.Uint32(e[4:])
			short := kind == 3 && count == 1
			text := func(size int) string {
				if kind != 2 || count != uint32(size)+1 {
					return ""
				}
				return string(at(order.Uint32(e[8:]), size))
			}
			switch id {
			case tagOrientation:
				if v := order.Uint16(e[8:]); short && v >= 1 && v <= 8 {
					n.orientation = v
				}
			case tagFocalLength5:
				if v := order.Uint16(e[8:]); short && v >= 1 && v <= 2000 {
					n.focal35 = v
				}
			case tagFocalLength:
				if v := at(order.Uint32(e[8:]), 8); kind == 5 && count == 1 && v != nil && order.Uint32(v) > 0 && order.Uint32(v[4:]) > 0 {
					n.focalLength = [2]uint32{order.Uint32(v), order.Uint32(v[4:])}
				}
			case tagTaken:
				n.taken = onlyTime(text(len("2006:01:02 15:04:05")))
			case tagChanged:
				changed = onlyTime(text(len("2006:01:02 15:04:05")))
			case tagOffset:
				n.offset = onlyTime(text(len("+01:00")))
			case tagExif:
				if kind == 4 && count == 1 {
					second = order.Uint32(e[8:])
				}
			}
		}
	}
	list(order.Uint32(data[4:]))
	if second != 0 {
		list(second)
	}
	if n.taken == "" {
		n.taken = changed
	}
	if n.taken == "" {
		n.offset = ""
	}
	return n
}

// onlyTime gives a text when it has nothing in it that a time has not.
func onlyTime(s string) string {
	if strings.Trim(s, "0123456789:+- ") != "" {
		return ""
	}
	return s
}

// exifOf gives the TIFF file that a photo's EXIF is, nil when there is none.
func exifOf(photo []byte) []byte {
	var found []byte
	keep := func(data []byte) {
		if found == nil {
			// Some writers keep the JPEG segment's prefix elsewhere too.
			found = bytes.TrimPrefix(data, []byte(exifHead))
		}
	}
	switch {
	case bytes.HasPrefix(photo, []byte(pngHead)):
		_ = eachPNG(photo, func(kind string, data []byte) {
			if kind == "eXIf" {
				keep(data)
			}
		})
	case isWebP(photo):
		_ = eachWebP(photo, func(kind string, data []byte) {
			if kind == "EXIF" {
				keep(data)
			}
		})
	case bytes.HasPrefix(photo, []byte("\xff\xd8")):
		for i := 2; i+4 <= len(photo) && photo[i] == 0xff && photo[i+1] != 0xda; {
			if photo[i+1] == 0xff { // fill byte
				i++
				continue
			}
			size := int(binary.BigEndian.Uint16(photo[i+2:]))
			if size < 2 || i+2+size > len(photo) {
				break
			}
			if data := photo[i+4 : i+2+size]; photo[i+1] == 0xe1 && bytes.HasPrefix(data, []byte(exifHead)) {
				keep(data)
			}
			i += 2 + size
		}
	}
	return found
}

const exifHead = "Exif\x00\x00"
