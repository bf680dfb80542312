/* Noise reduction by the Speex library's preprocessor, 16-bit sound at 16 kHz from standard
 * input to standard output, for the bench's -through. Debian: libspeexdsp-dev.
 *   cc -O2 -o speex bench/hearing/quieter/speex.c -lspeexdsp
 */
#include <speex/speex_preprocess.h>
#include <stdio.h>

#define FRAME 320

int main(void) {
	SpeexPreprocessState *s = speex_preprocess_state_init(FRAME, 16000);
	int on = 1;
	speex_preprocess_ctl(s, SPEEX_PREPROCESS_SET_DENOISE, &on);
	spx_int16_t x[FRAME];
	for (size_t n; (n = fread(x, 2, FRAME, stdin)) > 0;) {
		for (size_t i = n; i < FRAME; i++) x[i] = 0;
		speex_preprocess_run(s, x);
		fwrite(x, 2, n, stdout);
	}
	speex_preprocess_state_destroy(s);
	return 0;
}
