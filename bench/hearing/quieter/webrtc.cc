/* Noise reduction by WebRTC's audio processing, 16-bit sound at 16 kHz from standard input to
 * standard output, for the bench's -through; the level, 0 to 3, is the argument. Debian:
 * libwebrtc-audio-processing-dev (0.3).
 *   g++ -O2 -DWEBRTC_POSIX $(pkg-config --cflags webrtc-audio-processing) -o webrtc \
 *     bench/hearing/quieter/webrtc.cc $(pkg-config --libs webrtc-audio-processing)
 */
#include <cstdio>
#include <cstdlib>
#include <webrtc/modules/audio_processing/include/audio_processing.h>
#include <webrtc/modules/interface/module_common_types.h>

int main(int argc, char **argv) {
	const size_t frame = 160;
	webrtc::AudioProcessing *a = webrtc::AudioProcessing::Create();
	a->noise_suppression()->set_level(webrtc::NoiseSuppression::Level(argc > 1 ? atoi(argv[1]) : 1));
	a->noise_suppression()->Enable(true);
	a->high_pass_filter()->Enable(true);
	webrtc::AudioFrame f;
	int16_t x[frame];
	for (size_t n; (n = fread(x, 2, frame, stdin)) > 0;) {
		for (size_t i = n; i < frame; i++) x[i] = 0;
		f.UpdateFrame(0, 0, x, frame, 16000, webrtc::AudioFrame::kNormalSpeech, webrtc::AudioFrame::kVadUnknown, 1);
		a->ProcessStream(&f);
		fwrite(f.data_, 2, n, stdout);
	}
	delete a;
	return 0;
}
