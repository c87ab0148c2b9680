package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// pageProcess is the program itself, serving, and a browser that was let in.
type pageProcess struct {
	cmd         *exec.Cmd
	base, token string
	client      *http.Client
}

func buildProgram(t testing.TB) string {
	t.Helper()
	exe := filepath.Join(t.TempDir(), "yardheat.exe")
	out, err := exec.Command("go", "build", "-o", exe, ".").CombinedOutput()
	require.NoError(t, err, string(out))
	return exe
}

func startPage(t testing.TB, exe, dir string) *pageProcess {
	t.Helper()
	p := &pageProcess{cmd: exec.Command(exe, "serve", dir, "--listen", "127.0.0.1:0")}
	out := &screen{}
	p.cmd.Stdout, p.cmd.Stderr = out, out
	require.NoError(t, p.cmd.Start())
	t.Cleanup(p.kill)
	require.Eventually(t, func() bool { return pageLink.MatchString(out.String()) }, 20*time.Second, 2*time.Millisecond, out)
	found := pageLink.FindStringSubmatch(out.String())
	p.base = "http://" + found[2]
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	p.client = &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := p.client.Get(found[1])
	require.NoError(t, err)
	_ = res.Body.Close()
	_, body := p.get(t, "/display")
	p.token = regexp.MustCompile(`yardheat-token" content="(\w+)"`).FindStringSubmatch(body)[1]
	return p
}

// kill ends the program as the power does, if it runs.
func (p *pageProcess) kill() {
	_ = p.cmd.Process.Kill()
	_ = p.cmd.Wait()
}

func (p *pageProcess) get(t testing.TB, path string) (int, string) {
	t.Helper()
	res, err := p.client.Get(p.base + path)
	require.NoError(t, err)
	defer func() { _ = res.Body.Close() }()
	b, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	return res.StatusCode, string(b)
}

// post sends a form and gives where the answer leads.
func (p *pageProcess) post(t testing.TB, path string, v url.Values) string {
	t.Helper()
	v.Set("token", p.token)
	res, err := p.client.PostForm(p.base+path, v)
	require.NoError(t, err)
	defer func() { _ = res.Body.Close() }()
	b, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusSeeOther, res.StatusCode, "%s: %s", path, b)
	return res.Header.Get("Location")
}

// upload gives the identifier of what was acknowledged; an error where it was not.
func (p *pageProcess) upload(farm, name string, content []byte) (string, error) {
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	w, err := m.CreateFormFile("files", name)
	if err != nil {
		return "", err
	}
	_, _ = w.Write(content) // into memory
	_ = m.Close()
	r, err := http.NewRequest(http.MethodPost, p.base+"/farm/"+url.PathEscape(farm)+"/logs/files", &body)
	if err != nil {
		return "", err
	}
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Header.Set("X-Yardheat-Token", p.token)
	r.Header.Set("Accept", "application/json")
	res, err := p.client.Do(r)
	if err != nil {
		return "", err
	}
	defer func() { _ = res.Body.Close() }()
	var a struct {
		Files []struct{ ID, Error string }
		Error string
	}
	if err := json.NewDecoder(res.Body).Decode(&a); err != nil {
		return "", err
	}
	if res.StatusCode != http.StatusOK || len(a.Files) != 1 || a.Files[0].Error != "" {
		return "", fmt.Errorf("%d %+v", res.StatusCode, a)
	}
	return a.Files[0].ID, nil
}

type pageJobState struct {
	State string
	Ended bool
	Next  string
	Share int
}

func (p *pageProcess) state(t testing.TB, job string) (s pageJobState) {
	t.Helper()
	status, body := p.get(t, job+"/state")
	require.Equal(t, http.StatusOK, status)
	require.NoError(t, json.Unmarshal([]byte(body), &s))
	return s
}

// finish waits for a job's end and gives where it leads.
func (p *pageProcess) finish(t testing.TB, job string) string {
	t.Helper()
	for end := time.Now().Add(2 * time.Minute); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if s := p.state(t, job); s.Ended {
			require.Equal(t, "done", s.State)
			return s.Next
		}
	}
	t.Fatal("the job does not end")
	return ""
}

// peakMB is the most memory that the process had, as Linux counts it.
func (p *pageProcess) peakMB(t testing.TB) float64 {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	require.NoError(t, err)
	kB, err := strconv.ParseFloat(regexp.MustCompile(`VmHWM:\s+(\d+)`).FindStringSubmatch(string(b))[1], 64)
	require.NoError(t, err)
	return kB / 1024
}

// cpuS is the processor time that the process took.
func (p *pageProcess) cpuS(t testing.TB) float64 {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.cmd.Process.Pid))
	require.NoError(t, err)
	fields := strings.Fields(string(b[bytes.LastIndexByte(b, ')')+2:]))
	user, err := strconv.ParseFloat(fields[11], 64)
	require.NoError(t, err)
	system, err := strconv.ParseFloat(fields[12], 64)
	require.NoError(t, err)
	return (user + system) / 100 // ticks of 10 ms on every Linux that Go runs on
}

// fiftyMB is an export of a yard logger with a row a second and, one time a minute, other values.
func fiftyMB() ([]byte, int) {
	var b bytes.Buffer
	b.WriteString("Time;Cold feed [°C];Loop out [°C];Loop flow [L/min]\n")
	at := time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)
	n := 0
	for ; b.Len() < 50_000_000; n++ {
		fmt.Fprintf(&b, "%s;%d,%d;%d,%d;%d,0\n", at.Add(time.Duration(n)*time.Second).Format("02.01.2006 15:04:05"), 8+n/60%3, n%10, 20+n/60%17, n%7, n/60%7)
	}
	return b.Bytes(), n
}

// BenchmarkPage: an upload of 50 MB from its last byte until the page says that it
// is understood; the sample farm's report from the click until its page is there;
// and the process's peak memory through both.
func BenchmarkPage(b *testing.B) {
	if runtime.GOOS != "linux" {
		b.Skip("reads /proc")
	}
	exe := buildProgram(b)
	content, rows := fiftyMB()
	for range b.N {
		p := startPage(b, exe, filepath.Join(b.TempDir(), "farms"))
		farm := p.post(b, "/farms", url.Values{"name": {"Hof"}})
		start, cpu := time.Now(), p.cpuS(b)
		id, err := p.upload("Hof", "yard.csv", content)
		require.NoError(b, err)
		sent := time.Since(start)
		for {
			_, body := p.get(b, farm+"/logs/state")
			if !strings.Contains(body, `"state":"reading"`) {
				require.Contains(b, body, `"state":"good"`)
				break
			}
			time.Sleep(50 * time.Millisecond)
		}
		understood := time.Since(start)
		_, card := p.get(b, farm+"/logs/card/"+id)
		require.Regexp(b, regexp.MustCompile(fmt.Sprintf(`\b%d\D{1,8}%03d\D{1,8}%03d\b`, rows/1_000_000, rows/1000%1000, rows%1000)), card, "rows")
		upload := p.peakMB(b)
		b.ReportMetric(p.cpuS(b)-cpu, "cpu-s/upload")

		sample := p.post(b, "/farms/sample", url.Values{})
		start, cpu = time.Now(), p.cpuS(b)
		report := p.finish(b, p.post(b, sample+"/work", url.Values{"period": {"all"}}))
		status, page := p.get(b, report)
		require.Equal(b, http.StatusOK, status)
		require.Contains(b, page, "kWh")
		b.ReportMetric(time.Since(start).Seconds(), "s/report")
		b.ReportMetric(p.cpuS(b)-cpu, "cpu-s/report")
		status, chart := p.get(b, report+"/chart/temperatures")
		require.Equal(b, http.StatusOK, status)
		require.Contains(b, chart, `"live":true`)
		b.ReportMetric(understood.Seconds(), "s/upload")
		b.ReportMetric((understood - sent).Seconds(), "s/understood-after-answer")
		b.ReportMetric(upload, "MB-peak-upload")
		b.ReportMetric(p.peakMB(b), "MB-peak")
		p.kill()
	}
}

// TestPageKilled kills the program at drawn moments while the page's own job works
// and files come in: each acknowledged file is there after the next start, each
// report that is listed is whole, and nothing unfinished is left.
func TestPageKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program and kills it again and again")
	}
	exe := buildProgram(t)
	dir := filepath.Join(t.TempDir(), "farms")
	draw := rand.New(rand.NewPCG(11, 28))
	p := startPage(t, exe, dir)
	sample, err := url.PathUnescape(p.post(t, "/farms/sample", url.Values{}))
	require.NoError(t, err)
	name := filepath.Base(sample)
	acked := map[string]string{}
	// One moment each of reading, computing twice, writing and placing, drawn within.
	for round, from := range []int{0, 25, 55, 86, 93} {
		job := p.post(t, "/farm/"+url.PathEscape(name)+"/work", url.Values{"period": {"all"}})
		stop, ended := make(chan struct{}), make(chan map[string]string)
		go func() { ended <- uploadUntil(p, name, round, stop) }()
		share, more := from+draw.IntN(7), time.Duration(draw.IntN(40))*time.Millisecond
		for s := p.state(t, job); !s.Ended && s.Share < share; s = p.state(t, job) {
			time.Sleep(time.Millisecond)
		}
		time.Sleep(more)
		state := p.state(t, job)
		p.kill()
		close(stop)
		for id, text := range <-ended {
			acked[id] = text
		}
		t.Logf("round %d: killed at %d %%, %d files acknowledged", round, state.Share, len(acked))
		checkKilled(t, filepath.Join(dir, name), acked, exe, &p)
	}
	require.NotEmpty(t, acked)
	p.finish(t, p.post(t, "/farm/"+url.PathEscape(name)+"/work", url.Values{"period": {"all"}}))
}

// uploadUntil gives small files, one after the other, and says which were acknowledged.
func uploadUntil(p *pageProcess, farm string, round int, stop chan struct{}) map[string]string {
	acked := map[string]string{}
	for n := 0; ; n++ {
		select {
		case <-stop:
			return acked
		case <-time.After(20 * time.Millisecond):
		}
		text := fmt.Sprintf("Time;Bed [°C]\n2026-02-01 00:00;%d\n2026-02-01 00:10;%d\n", round, n)
		id, err := p.upload(farm, fmt.Sprintf("r%d-%d.csv", round, n), []byte(text))
		if err != nil {
			return acked
		}
		acked[id] = text
	}
}

func checkKilled(t *testing.T, dir string, acked map[string]string, exe string, p **pageProcess) {
	t.Helper()
	*p = startPage(t, exe, filepath.Dir(dir))
	status, body := (*p).get(t, "/farm/"+url.PathEscape(filepath.Base(dir))+"/reports")
	require.Equal(t, http.StatusOK, status)
	for id, text := range acked {
		b, err := os.ReadFile(filepath.Join(dir, ".yardheat", "new", id, "content"))
		require.NoError(t, err, "an acknowledged file is lost")
		require.Equal(t, text, string(b))
	}
	entries, err := os.ReadDir(filepath.Join(dir, "reports"))
	require.True(t, err == nil || os.IsNotExist(err), err)
	for _, e := range entries {
		require.NotContains(t, e.Name(), "yardheat-new", "an unfinished report was left")
		requireWhole(t, filepath.Join(dir, "reports", e.Name()))
		require.Contains(t, body, "/reports/"+e.Name())
	}
	left, err := filepath.Glob(filepath.Join(dir, ".yardheat", "part-*"))
	require.NoError(t, err)
	require.Empty(t, left)
}
