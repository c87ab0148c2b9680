package season
import ("testing";"fmt";"yardheat/ingest/simfarm";"os";"strconv";"math")
func TestZZ(t *testing.T){
 n,_:=strconv.Atoi(os.Getenv("N")); iv,_:=strconv.Atoi(os.Getenv("IV"))
 var m,sq,de,ds float64; h,hw:=0,0
 for seed:=1;seed<=n;seed++{
 f,_,s:=simulated(t,simfarm.Meterless(uint64(seed),iv),func(o *Options){o.Doubt.MinTrials=1000;o.Doubt.MaxTrials=1000})
 g:=find(t,s.Heat.Seen,"loop_kwh"); x:=g.Value/f.AccountSeen().LoopKWh-1; m+=x; sq+=x*x
 if holds(g,f.Truth().LoopKWh) {h++}
 if holds(find(t,s.Heat.Seen,"wash_kwh"),f.Truth().WashKWh) {hw++}
 d:=f.DrawSpans(); if len(d)==len(s.Draws) { for i:=range d { de+=float64(s.Draws[i].End/1000-d[i].End)/float64(len(d)); ds+=float64(s.Draws[i].Start/1000-d[i].Start)/float64(len(d)) } } else {fmt.Println("draws",seed,len(d),len(s.Draws))}
 }
 fmt.Println(iv,"mean",m/float64(n),"rms",math.Sqrt(sq/float64(n)),"ds",ds/float64(n),"de",de/float64(n),"held",h,hw,n)
}
