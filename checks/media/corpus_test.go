//go:build clipsall

package media

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A recipe makes one whole file with ffmpeg, the general-purpose media utility.
type recipe struct {
	name string // of the file, below the folder of the corpus
	args string // between the inputs and the file; what begins with | is run by a shell, in the file's folder, with $o its path
}

const (
	lavfi   = "-f lavfi -i "
	picture = lavfi + "testsrc2=s=64x48:r=25:d=0.6 "
	sound   = lavfi + "sine=d=0.6:r=8000 "
	both    = picture + sound
	dv      = lavfi + "testsrc2=s=720x576:r=25:d=0.12 " + lavfi + "sine=d=0.12:r=48000 "
	hd      = lavfi + "testsrc2=s=1280x720:r=25:d=0.12 " + lavfi + "sine=d=0.12:r=48000 "
)

// recipes are the files of the corpus: every container and its usual flags.
func recipes() []recipe {
	var all []recipe
	add := func(name, args string, a ...string) {
		for _, v := range a {
			args = strings.Replace(args, "%s", v, 1)
		}
		all = append(all, recipe{name, args})
	}
	slug := strings.NewReplacer("-movflags ", "", "-", "", " ", "_", "+", "_", ":", "", "/", "").Replace

	// ISO base media.
	flags := []string{
		"", "-movflags +faststart", "-movflags frag_keyframe+empty_moov", "-movflags +frag_every_frame+empty_moov",
		"-movflags frag_keyframe+empty_moov+default_base_moof", "-movflags dash+frag_keyframe+empty_moov", "-movflags cmaf+frag_keyframe",
		"-movflags frag_keyframe+separate_moof+empty_moov", "-movflags frag_keyframe+omit_tfhd_offset", "-movflags frag_keyframe+delay_moov",
		"-movflags dash+global_sidx+frag_keyframe+empty_moov", "-frag_duration 200000", "-movflags frag_keyframe+skip_trailer+empty_moov",
		"-movflags +write_colr+write_gama", "-movflags use_metadata_tags -metadata note=x", "-moov_size 8192", "-movflags rtphint",
		"-movflags disable_chpl", "-movflags negative_cts_offsets", "-timecode 01:00:00:00", "-metadata title=Tides", "-movflags frag_keyframe+frag_discont+empty_moov",
	}
	for _, ext := range []string{"mp4", "mov"} {
		for _, f := range flags {
			add(fmt.Sprintf("iso/h264_%s.%s", slug(f), ext), both+"-c:v libx264 -g 5 -preset ultrafast -c:a aac -b:a 24k "+f)
			add(fmt.Sprintf("iso/mpeg4_%s.%s", slug(f), ext), both+"-c:v mpeg4 -g 5 -c:a aac -b:a 24k "+f)
		}
	}
	for _, c := range []string{"libx265", "mpeg2video", "mjpeg", "libvpx-vp9"} {
		add("iso/codec_"+c+".mp4", picture+"-c:v %s", c)
		add("iso/codec_"+c+"_front.mp4", picture+"-c:v %s -movflags +faststart", c)
	}
	for _, c := range []string{"prores_ks", "qtrle", "rawvideo", "mjpeg", "png", "libx265 -tag:v hvc1"} {
		add("iso/codec_"+slug(c)+".mov", both+"-c:v %s -c:a pcm_s16le", c)
		add("iso/codec_"+slug(c)+"_front.mov", both+"-c:v %s -c:a pcm_s24le -movflags +faststart", c)
	}
	add("iso/dv.mov", dv+"-c:v dvvideo -c:a pcm_s16le")
	add("iso/dnx.mov", hd+"-c:v dnxhd -b:v 60M -pix_fmt yuv422p -c:a pcm_s16le -timecode 10:00:00:00")
	for _, f := range []string{"", "-movflags +faststart", "-movflags empty_moov+frag_keyframe -frag_duration 200000"} {
		add("iso/aac_"+slug(f)+".m4a", sound+"-c:a aac "+f)
		add("iso/alac_"+slug(f)+".m4a", sound+"-c:a alac "+f)
		add("iso/flac_"+slug(f)+".mp4", sound+"-c:a flac -strict -2 "+f)
		add("iso/m4v_"+slug(f)+".m4v", picture+"-c:v libx264 -preset ultrafast "+f)
		add("iso/3gp_"+slug(f)+".3gp", lavfi+"testsrc2=s=176x144:r=15:d=0.6 -c:v h263 "+f)
		add("iso/3g2_"+slug(f)+".3g2", picture+"-c:v mpeg4 "+f)
		add("iso/f4v_"+slug(f)+".f4v", both+"-c:v libx264 -preset ultrafast -c:a aac "+f)
		add("iso/two_"+slug(f)+".mov", both+sound+"-map 0 -map 1 -map 2 -c:v libx264 -preset ultrafast -c:a pcm_s16le "+f)
	}
	add("iso/smooth.ismv", both+"-c:v libx264 -g 5 -preset ultrafast -c:a aac")
	add("iso/psp.psp.mp4", both+"-c:v libx264 -preset ultrafast -c:a aac -f psp")
	add("iso/pipe.mp4", "|ffmpeg -v error %s -c:v libx264 -g 5 -preset ultrafast -c:a aac -movflags frag_keyframe+empty_moov -f mp4 - | cat >$o", both)
	add("iso/pipe.mov", "|ffmpeg -v error %s -c:v mpeg4 -g 5 -c:a pcm_s16le -movflags frag_keyframe+empty_moov -f mov - | cat >$o", both)
	add("iso/init.mp4", "|ffmpeg -v error %s -c:v libx264 -g 5 -preset ultrafast -f hls -hls_time 0.2 -hls_segment_type fmp4 -hls_fmp4_init_filename init.mp4 hls.m3u8 && rm -f hls.m3u8", picture)
	add("iso/hls0.m4s", "|test -s $o")
	add("iso/hls1.m4s", "|test -s $o")
	for _, s := range []string{"64x48", "320x200"} {
		add("iso/still_"+s+".avif", lavfi+"testsrc2=s=%s:r=1:d=1 -c:v libaom-av1 -still-picture 1 -frames:v 1 -cpu-used 8", s)
	}

	// RIFF.
	for _, c := range []string{"pcm_s16le", "pcm_s24le", "pcm_s32le", "pcm_f32le", "pcm_u8", "pcm_mulaw", "adpcm_ms", "adpcm_ima_wav", "libmp3lame"} {
		for _, f := range []string{"", "-write_bext 1 -metadata description=Tides", "-rf64 always", "-write_peak on", "-metadata title=Tides -metadata artist=Low"} {
			if strings.HasPrefix(f, "-write_peak") && c != "pcm_s16le" {
				continue
			}
			add("wav/"+slug(c+f)+".wav", sound+"-c:a %s %s", c, f)
		}
		add("wav/pipe_"+c+".wav", "|ffmpeg -v error %s -c:a %s -f wav - | cat >$o", sound, c)
	}
	add("wav/odd.wav", lavfi+"sine=d=0.600125:r=8000 -c:a pcm_u8")
	add("wav/odd_info.wav", lavfi+"sine=d=0.600125:r=8000 -c:a pcm_u8 -metadata title=Low")
	add("wav/eight.wav", lavfi+"anoisesrc=d=0.1:r=48000 -ac 8 -c:a pcm_s24le")
	add("wav/raw_pipe_rf64.wav", "|ffmpeg -v error %s -c:a pcm_s16le -rf64 always -f wav - | cat >$o", sound)
	add("wav/sox.wav", "|sox -n -r 8000 -b 16 $o synth 0.6 sine 440")
	add("wav/sox_pipe16.wav", "|sox -n -r 8000 -b 16 -t wav - synth 0.6 sine 440 2>&- | cat >$o")
	add("wav/sox_pipe24.wav", "|sox -n -r 8000 -c 2 -b 24 -t wav - synth 0.6 sine 440 2>&- | cat >$o")
	add("wav/sox_rifx.wav", "|sox -n -r 8000 -b 16 -B -t wav $o synth 0.6 sine 440")
	for _, c := range []string{"mpeg4 -c:a libmp3lame -b:a 24k", "mjpeg -c:a pcm_s16le", "rawvideo -c:a pcm_u8", "ffv1 -c:a pcm_s16le", "libx264 -preset ultrafast -c:a ac3 -b:a 32k", "huffyuv -an", "mpeg2video -c:a mp2"} {
		for _, f := range []string{"", "-reserve_index_space 2048", "-metadata title=Tides", "-write_channel_mask 0"} {
			src := both
			if strings.Contains(c, "mp2") {
				src = picture + lavfi + "sine=d=0.6:r=44100 "
			}
			add("avi/"+slug(c+f)+".avi", src+"-c:v %s %s", c, f)
		}
	}
	add("avi/dv.avi", dv+"-c:v dvvideo -c:a pcm_s16le")
	add("avi/silent.avi", picture+"-c:v mpeg4")
	add("avi/sound.avi", sound+"-c:a pcm_s16le")

	// AIFF.
	for _, c := range []string{"pcm_s16be", "pcm_s24be", "pcm_s32be", "pcm_s8", "pcm_f32be", "pcm_alaw", "pcm_s16le", "adpcm_ima_qt"} {
		for _, f := range []string{"", "-write_id3v2 1 -metadata title=Tides", "-metadata title=Tides"} {
			add("aiff/"+slug(c+f)+".aiff", sound+"-c:a %s %s", c, f)
		}
	}
	add("aiff/odd.aif", lavfi+"sine=d=0.600125:r=8000 -c:a pcm_s8 -metadata title=Low")
	add("aiff/sox.aiff", "|sox -n -r 8000 -b 16 $o synth 0.6 sine 440")
	add("aiff/sox.aifc", "|sox -n -r 8000 -b 16 $o synth 0.6 sine 440")
	add("aiff/pipe.aiff", "|ffmpeg -v error %s -f aiff - | cat >$o", sound)

	// MXF.
	for _, f := range []string{"", "-store_user_comments 1 -metadata comment_tides=low", "-timecode 10:00:00:00", "-metadata title=Tides"} {
		add("mxf/mpeg2"+slug(f)+".mxf", lavfi+"testsrc2=s=320x240:r=25:d=0.3 "+lavfi+"sine=d=0.3:r=48000 -c:v mpeg2video -c:a pcm_s16le "+f)
		add("mxf/h264"+slug(f)+".mxf", lavfi+"testsrc2=s=320x240:r=25:d=0.3 "+lavfi+"sine=d=0.3:r=48000 -c:v libx264 -preset ultrafast -c:a pcm_s24le "+f)
		add("mxf/dnx"+slug(f)+".mxf", hd+"-c:v dnxhd -b:v 60M -pix_fmt yuv422p -c:a pcm_s16le "+f)
		add("mxf/prores"+slug(f)+".mxf", hd+"-c:v prores -c:a pcm_s24le "+f)
		add("mxf/atom_video"+slug(f)+".mxf", hd+"-map 0:v -c:v dnxhd -b:v 60M -pix_fmt yuv422p -f mxf_opatom "+f)
		add("mxf/atom_sound"+slug(f)+".mxf", hd+"-map 1:a -c:a pcm_s16le -f mxf_opatom "+f)
	}
	add("mxf/imx.mxf", dv+"-c:v mpeg2video -r 25 -pix_fmt yuv422p -minrate 30M -maxrate 30M -b:v 30M -intra_vlc 1 -flags +ildct+low_delay -g 0 -bufsize 2000000 -ps 1 -qmin 1 -qmax 8 -rc_init_occupancy 2000000 -c:a pcm_s16le -ac 4 -f mxf_d10")
	add("mxf/pipe.mxf", "|ffmpeg -v error %s -c:v mpeg2video -c:a pcm_s16le -f mxf - | cat >$o", hd)
	add("mxf/dv.mxf", dv+"-c:v dvvideo -c:a pcm_s16le -f mxf")

	// Matroska and WebM.
	for _, f := range []string{
		"", "-live 1", "-cluster_time_limit 100", "-cluster_size_limit 4096", "-reserve_index_space 4096", "-cues_to_front 1",
		"-write_crc32 0", "-default_mode passthrough", "-metadata title=Tides", "-allow_raw_vfw 1", "-live 1 -cluster_time_limit 100",
	} {
		add("mkv/h264"+slug(f)+".mkv", both+"-c:v libx264 -g 5 -preset ultrafast -c:a libvorbis "+f)
		if !strings.HasPrefix(f, "-allow") {
			add("mkv/vp8"+slug(f)+".webm", both+"-c:v libvpx -g 5 -deadline realtime -cpu-used 8 -c:a libopus -ar 48000 "+f)
		}
		add("mkv/flac"+slug(f)+".mka", sound+"-c:a flac "+f)
	}
	for _, c := range []string{"ffv1", "mjpeg", "mpeg4", "libvpx-vp9", "rawvideo", "prores_ks"} {
		add("mkv/codec_"+c+".mkv", both+"-c:v %s -c:a pcm_s16le", c)
	}
	for _, f := range []string{"", "-live 1", "-cluster_time_limit 100"} {
		add("mkv/pipe"+slug(f)+".mkv", "|ffmpeg -v error %s -c:v libx264 -g 5 -preset ultrafast -c:a pcm_s16le -f matroska %s - | cat >$o", both, f)
		add("mkv/pipe"+slug(f)+".webm", "|ffmpeg -v error %s -c:v libvpx -g 5 -deadline realtime -cpu-used 8 -c:a libopus -ar 48000 -f webm %s - | cat >$o", both, f)
	}
	add("mkv/dash.webm", picture+"-c:v libvpx -g 5 -deadline realtime -cpu-used 8 -dash 1 -dash_track_number 1")
	add("mkv/attached.mkv", "|echo Tides >note.txt; ffmpeg -v error -y %s -c:v mpeg4 -attach note.txt -metadata:s:1 mimetype=text/plain $o; rm note.txt", picture)

	// MPEG transport streams.
	for _, f := range []string{"", "-mpegts_m2ts_mode 1", "-muxrate 1M", "-mpegts_flags resend_headers", "-mpegts_flags system_b", "-pat_period 0.1", "-mpegts_copyts 1", "-mpegts_service_type digital_radio"} {
		add("ts/h264"+slug(f)+".ts", both+"-c:v libx264 -g 5 -preset ultrafast -c:a aac "+f)
		add("ts/mpeg2"+slug(f)+".ts", both+"-c:v mpeg2video -c:a ac3 -b:a 32k "+f)
	}
	add("ts/camcorder.mts", both+"-c:v libx264 -preset ultrafast -c:a ac3 -f mpegts -mpegts_m2ts_mode 1")
	add("ts/disc.m2ts", both+"-c:v libx264 -preset ultrafast -c:a ac3")
	add("ts/hevc.ts", picture+"-c:v libx265")
	add("ts/sound.ts", sound+"-c:a aac -b:a 96k")
	add("ts/parity204.ts", "|ffmpeg -v error -y %s -c:v mpeg2video -f mpegts p.tmp && perl -e 'local $/=\\188; while(<>){print $_,qq(\\0)x16}' p.tmp >$o; rm p.tmp", picture)

	// Pictures.
	for _, s := range []string{"16x16", "64x48", "321x123", "640x480"} {
		for _, f := range []string{"-pix_fmt yuvj420p", "-pix_fmt yuvj444p -q:v 2", "-pix_fmt gray", "-huffman default"} {
			add(fmt.Sprintf("jpeg/%s%s.jpg", s, slug(f)), lavfi+"testsrc2=s=%s -frames:v 1 %s", s, f)
		}
		for _, f := range []string{"-pix_fmt rgb24", "-pix_fmt rgba64be", "-pix_fmt gray", "-pix_fmt pal8", "-pred mixed", "-pix_fmt monob"} {
			add(fmt.Sprintf("png/%s%s.png", s, slug(f)), lavfi+"testsrc2=s=%s -frames:v 1 %s", s, f)
		}
		add("jpeg/progressive"+s+".jpg", "|ffmpeg -v error -y %stestsrc2=s=%s -frames:v 1 -update 1 p.ppm && cjpeg -progressive p.ppm >$o; rm p.ppm", lavfi, s)
		add("jpeg/restart"+s+".jpg", "|ffmpeg -v error -y %stestsrc2=s=%s -frames:v 1 -update 1 p.ppm && cjpeg -restart 1 -optimize p.ppm >$o; rm p.ppm", lavfi, s)
		add("jpeg/arithmetic"+s+".jpg", "|ffmpeg -v error -y %stestsrc2=s=%s -frames:v 1 -update 1 p.ppm && cjpeg -arithmetic p.ppm >$o; rm p.ppm", lavfi, s)
	}
	add("png/moving.apng", lavfi+"testsrc2=s=64x48:r=5:d=1 -f apng")
	return all
}

// make builds the file of r below dir unless it is there.
func (r recipe) make(dir string) (string, error) {
	file := filepath.Join(dir, filepath.FromSlash(r.name))
	if st, err := os.Stat(file); err == nil && st.Size() > 0 {
		return file, nil
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		return "", err
	}
	var cmd *exec.Cmd
	if script, ok := strings.CutPrefix(r.args, "|"); ok {
		cmd = exec.Command("sh", "-ec", script)
		cmd.Env = append(os.Environ(), "o="+filepath.Base(file))
	} else {
		cmd = exec.Command("ffmpeg", append(strings.Fields("-v error -nostdin -y "+r.args), filepath.Base(file))...)
	}
	cmd.Dir = filepath.Dir(file)
	if out, err := cmd.CombinedOutput(); err != nil {
		os.Remove(file)
		return "", fmt.Errorf("%s: %w\n%s", r.name, err, out)
	}
	if st, err := os.Stat(file); err != nil || st.Size() == 0 {
		return "", fmt.Errorf("%s: nothing was written", r.name)
	}
	return file, nil
}

func TestRecipesAreDistinct(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range recipes() {
		if seen[r.name] {
			t.Errorf("two recipes make %s", r.name)
		}
		seen[r.name] = true
	}
	t.Logf("%d files", len(seen))
}
