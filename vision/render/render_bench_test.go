package render

import "testing"

func BenchmarkDraw(b *testing.B) {
	for _, back := range []Background{SkyGrass, BlueSheet} {
		b.Run(string(back), func(b *testing.B) {
			for i := 0; i < b.N; i++ {
				if _, _, err := Draw(Random(4, Options{Width: 2000, Background: back, Light: Sun})); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
